"""Who may do something on the floor."""

from labqueue.base.errors import Forbidden, refuse
from labqueue.base.models import User


def laboratory_only(actor: User) -> None:
    """Raise Forbidden for people of a practice: the floor is the laboratory's, whatever the case."""
    if not actor.works_here:
        raise refuse("role", "Only people of the laboratory can do this on the floor.", kind=Forbidden)
