"""The engine: simulates a shop as it stands now and says when each open job will be finished.

    from labqueue.engine import Shop, simulate
    forecast = simulate(Shop.from_dict(document), replications=1000, seed=7)

It knows nothing of the service around it: no database, no clock, no state between calls.
"""

from labqueue.engine.forecast import Forecast, simulate
from labqueue.engine.reading import ShopError
from labqueue.engine.shop import Shop
from labqueue.engine.warm_up import warm_up

__all__ = ["Forecast", "Shop", "ShopError", "simulate", "warm_up"]
