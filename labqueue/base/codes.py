"""Codes that are scanned: digits only, so that keyboard layout and caps lock cannot change them, with a check digit."""

from labqueue.base.errors import refuse


def check_digit(digits: str) -> str:
    """The check digit of ISO/IEC 7064 MOD 11,10: finds every wrong digit and 44 of 45 swaps of neighbours."""
    product = 10
    for digit in digits:
        total = (int(digit) + product) % 10 or 10
        product = (total * 2) % 11
    return str((11 - product) % 10)


def with_check(digits: str) -> str:
    """`digits` with their check digit behind them."""
    return digits + check_digit(digits)


def read(code: str, length: int, field: str = "code") -> str:
    """The digits of a scanned code of `length` digits, less the check digit. White space and hyphens are passed over.

    Raises Refusal naming `field` where it is not such a code.
    """
    digits = "".join(code.split()).replace("-", "")
    if not (digits.isascii() and digits.isdigit() and len(digits) == length):
        raise refuse("code", f"“{code[:40]}” is not a code of this laboratory: it has {length} digits.", field)
    if check_digit(digits[:-1]) != digits[-1]:
        raise refuse("code", f"Code {digits} was misread: its check digit is wrong. Scan it again.", field)
    return digits[:-1]
