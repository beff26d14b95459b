"""The table of deviations: what the tests measured beside what theory gives, printed after their run."""

ROWS: list[str] = []


def report(name: str, measured: float, theory: float, z: float) -> None:
    """Add a row; `z` is the deviation in standard errors."""
    off = 100 * (measured / theory - 1)
    ROWS.append(f"{name:<36} theory {theory:10.3f}   measured {measured:10.3f}   {off:+6.2f} %   z {z:+.2f}")


def table() -> list[str]:
    """The rows and how large the deviations are together: the sum of z squared, about the number of rows."""
    zs = [float(row.rsplit("z ", 1)[1]) for row in ROWS]
    largest = max(map(abs, zs), default=0.0)
    return [*ROWS, f"{len(zs)} rows: largest |z| {largest:.2f}, sum of z squared {sum(z * z for z in zs):.1f}"]
