"""Distance per fuel, and how far the fuel goes with a reserve kept back."""

from __future__ import annotations


def economy(speed: float, flow: float) -> float:
    """Distance made good over ground for each gallon burned.

    speed   : speed over ground [kn]
    flow    : fuel flow of all engines together, above 0 [gal/h]
    returns : economy [nm/gal]
    Raises ValueError for a flow of zero or below.

    >>> economy(24.0, 12.0)
    2.0
    """
    if not flow > 0:
        raise ValueError(f"fuel flow must be above zero, got {flow}")
    return speed / flow


def statute_economy(nm_per_gal: float) -> float:
    """Economy in statute miles.

    nm_per_gal : economy [nm/gal]
    returns    : economy [mi/gal]

    >>> round(statute_economy(2.0), 3)
    2.302

    [1] NIST SP 811 (2008), appendix B.8: 1 nautical mile = 1852 m, 1 mile = 1609.344 m, both exact.
    """
    return nm_per_gal * 1852 / 1609.344


def litres_per_mile(nm_per_gal: float) -> float:
    """Fuel for one nautical mile.

    nm_per_gal : economy, above 0 [nm/gal]
    returns    : fuel for a nautical mile [L/nm]
    Raises ValueError for an economy of zero or below.

    >>> round(litres_per_mile(2.0), 3)
    1.893

    [1] NIST SP 811 (2008), appendix B.8: 1 US gallon = 3.785411784 L.
    """
    if not nm_per_gal > 0:
        raise ValueError(f"economy must be above zero, got {nm_per_gal}")
    return 3.785411784 / nm_per_gal


def radius_by_thirds(usable: float, nm_per_gal: float) -> float:
    """How far out a boat may go on a third of its fuel, keeping a third to come back and a third in reserve.

    usable     : usable fuel, 0 or above [gal]
    nm_per_gal : economy [nm/gal]
    returns    : distance out, with the same distance back [nm]

    >>> radius_by_thirds(60.0, 24.0 / 12.0)
    40.0

    [1] Rule of thirds: one third out, one third back, one third in reserve. United States Power Squadrons,
        Anna Maria: fuel topics.
    """
    return usable / 3 * nm_per_gal


def range_with_reserve(usable: float, reserve: float, nm_per_gal: float) -> float:
    """Whole distance on the usable fuel with a share kept back.

    usable     : usable fuel, 0 or above [gal]
    reserve    : share kept back, 0 to 100 [%]
    nm_per_gal : economy [nm/gal]
    returns    : distance, one way or out and back together [nm]
    Raises ValueError for a reserve outside 0 to 100 %.

    >>> range_with_reserve(60.0, 20.0, 2.0)
    96.0
    """
    if not 0 <= reserve <= 100:
        raise ValueError(f"reserve must be between 0 and 100 %, got {reserve}")
    return usable * (100 - reserve) / 100 * nm_per_gal
