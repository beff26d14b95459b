"""The benchmark: how quick the engine is on this machine, beside SimPy and Ciw on the same shops.

    python -m labqueue.engine benchmark

`laboratory` and `subset` make the shops, `simpy_shop` and `ciw_shop` are the other programs, `agreement` compares the
answers. SimPy and Ciw are needed only here; nothing in the service imports this package.
"""
