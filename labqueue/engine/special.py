"""Quantiles of the normal and gamma distributions by their upper tail, compiled (scipy is not needed at run time)."""

import math

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.jit import rare

CENTRAL_TOP = np.array(
    [3.3871328727963666080e0, 1.3314166789178437745e2, 1.9715909503065514427e3, 1.3731693765509461125e4,
     4.5921953931549871457e4, 6.7265770927008700853e4, 3.3430575583588128105e4, 2.5090809287301226727e3]
)  # fmt: skip
CENTRAL_BASE = np.array(
    [1.0, 4.2313330701600911252e1, 6.8718700749205790830e2, 5.3941960214247511077e3, 2.1213794301586595867e4,
     3.9307895800092710610e4, 2.8729085735721942674e4, 5.2264952788528545610e3]
)  # fmt: skip
NEAR_TOP = np.array(
    [1.42343711074968357734e0, 4.63033784615654529590e0, 5.76949722146069140550e0, 3.64784832476320460504e0,
     1.27045825245236838258e0, 2.41780725177450611770e-1, 2.27238449892691845833e-2, 7.74545014278341407640e-4]
)  # fmt: skip
NEAR_BASE = np.array(
    [1.0, 2.05319162663775882187e0, 1.67638483018380384940e0, 6.89767334985100004550e-1, 1.48103976427480074590e-1,
     1.51986665636164571966e-2, 5.47593808499534494600e-4, 1.05075007164441684324e-9]
)  # fmt: skip
FAR_TOP = np.array(
    [6.65790464350110377720e0, 5.46378491116411436990e0, 1.78482653991729133580e0, 2.96560571828504891230e-1,
     2.65321895265761230930e-2, 1.24266094738807843860e-3, 2.71155556874348757815e-5, 2.01033439929228813265e-7]
)  # fmt: skip
FAR_BASE = np.array(
    [1.0, 5.99832206555887937690e-1, 1.36929880922735805310e-1, 1.48753612908506148525e-2, 7.86869131145613259100e-4,
     1.84631831751005468180e-5, 1.42151175831644588870e-7, 2.04426310338993978564e-15]
)  # fmt: skip


@rare
def ratio(top: NDArray[np.float64], base: NDArray[np.float64], x: float) -> float:
    """The quotient of two polynomials of degree 7 at x, coefficients ascending."""
    above, below = 0.0, 0.0
    for k in range(7, -1, -1):
        above = above * x + top[k]
        below = below * x + base[k]
    return above / below


@rare
def normal_upper(survival: float) -> float:
    """The z that a standard normal variable exceeds with probability `survival` (Wichura 1988, AS 241, PPND16)."""
    q = 0.5 - survival
    if abs(q) <= 0.425:
        return q * ratio(CENTRAL_TOP, CENTRAL_BASE, 0.180625 - q * q)
    tail = survival if q > 0 else 1.0 - survival
    r = math.sqrt(-math.log(tail))
    z = ratio(NEAR_TOP, NEAR_BASE, r - 1.6) if r <= 5.0 else ratio(FAR_TOP, FAR_BASE, r - 5.0)
    return z if q > 0 else -z


@rare
def gamma_density(shape: float, x: float) -> float:
    """x times the density of a standard gamma variable at x."""
    return math.exp(shape * math.log(x) - x - math.lgamma(shape))


@rare
def gamma_survival(shape: float, x: float) -> float:
    """P(X > x) of a standard gamma variable: series below shape + 1, continued fraction above (Lentz's method)."""
    if x <= 0.0:
        return 1.0
    density = gamma_density(shape, x)
    if x < shape + 1.0:
        term = 1.0 / shape
        total = term
        n = shape
        while term > total * 1e-17:
            n += 1.0
            term *= x / n
            total += term
        return 1.0 - density * total
    b = x + 1.0 - shape
    c = 1e300
    d = 1.0 / b
    h = d
    for i in range(1, 100_000):
        a = -i * (i - shape)
        b += 2.0
        d = 1.0 / (a * d + b)
        c = b + a / c
        step = d * c
        h *= step
        if abs(step - 1.0) < 1e-16:
            break
    return density * h


@rare
def gamma_upper(shape: float, survival: float) -> float:
    """The x that a standard gamma variable exceeds with probability `survival`: Newton's method in a bracket."""
    z = normal_upper(survival)
    guess = shape * (1.0 - 1.0 / (9.0 * shape) + z / (3.0 * math.sqrt(shape))) ** 3
    if not guess > 0.1 * shape:
        guess = math.exp((math.log(max(1.0 - survival, 1e-300)) + math.lgamma(shape + 1.0)) / shape)
    low, high = 0.0, np.inf
    x = max(guess, 1e-300)
    for _ in range(200):
        found = gamma_survival(shape, x)
        if found > survival:
            low = x
        else:
            high = x
        slope = gamma_density(shape, x) / x
        # In the tail the logarithm of the survival is nearly straight, the survival itself is not.
        if survival < 0.1 and found > 0.0:
            following = x + math.log(found / survival) * found / slope
        else:
            following = x + (found - survival) / slope
        if not low < following < high:
            following = 0.5 * (low + high) if high < np.inf else 2.0 * x
        if abs(following - x) <= 1e-14 * x:
            return following
        x = following
    return x
