"""Stations by their code."""

from labqueue.base.errors import NotFound, Refusal, refuse
from labqueue.production.models import Station


def station_for(code: str) -> Station:
    """The station of that code, as an address names it. Raises NotFound."""
    return _station(code, NotFound)


def named_station(code: str) -> Station:
    """The station of that code, as input names it. Raises Refusal naming `station`."""
    return _station(code, Refusal)


def _station(code: str, kind: type[Refusal]) -> Station:
    station = Station.objects.filter(code=code).first()
    if station is None:
        known = ", ".join(Station.objects.values_list("code", flat=True))
        raise refuse(
            "station", f"There is no station “{code[:20]}”. There are: {known or 'none'}.", "station", kind=kind
        )
    return station
