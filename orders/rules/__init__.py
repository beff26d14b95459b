"""The rules of the trade for what is ordered, as data: `table` has them all, the other files say when each speaks."""

from orders.rules.absent import absent
from orders.rules.look import Look, Spot
from orders.rules.table import RULES, Rule, hits

__all__ = ["RULES", "Look", "Rule", "Spot", "absent", "hits"]
