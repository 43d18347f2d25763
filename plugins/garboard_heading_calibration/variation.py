"""Magnetic variation at a place and date from the World Magnetic Model, with the model's own uncertainty."""

from __future__ import annotations

import datetime
from calendar import month_name
from functools import lru_cache

from garboard.findings import in_full, rounded, rounded_beside
from garboard.record_types import frozen
from garboard.series import signed_angle
from garboard.uncertainty import NORMAL_95

FIRST_YEAR, LAST_YEAR = 2020.0, 2030.0
BLACKOUT_BELOW = 2000.0  # horizontal field in which a compass is of no use [nT]
CAUTION_BELOW = 6000.0  # horizontal field in which a compass is sluggish and doubtful [nT]


@frozen(kw_only=True)
class EarthField:
    """The earth's magnetic field at a place and time.

    declination : variation, east positive, and its standard error by the model's error model [deg]
    inclination : down positive [deg]
    horizontal, total : [nT]
    model       : "WMM2025"
    """

    declination: float
    standard_error: float
    inclination: float
    horizontal: float
    total: float
    model: str


@frozen(kw_only=True)
class Variation:
    """Variation at a place and date.

    east        : variation, east positive [deg]
    expanded_uncertainty : half width of the 95 % interval [deg]
    a_year      : change in a year, east positive [deg]
    latitude, longitude : north and east positive [deg]
    """

    east: float
    expanded_uncertainty: float
    a_year: float
    field: EarthField
    latitude: float
    longitude: float
    date: datetime.date

    @property
    def place_in_words(self) -> str:
        """Where and when, "at 40.00 N 70.00 W on 25 November 2026"."""
        north, east = "NS"[self.latitude < 0], "EW"[self.longitude < 0]
        day = f"{self.date.day} {month_name[self.date.month]} {self.date.year}"
        return f"at {rounded(abs(self.latitude), 2)} {north} {rounded(abs(self.longitude), 2)} {east} on {day}"


@lru_cache(maxsize=16)  # each value saved is judged with the same place, and a model of the earth takes a while
def earth_field(latitude: float, longitude: float, height: float, year: float) -> EarthField:
    """The earth's magnetic field by the World Magnetic Model in force in that year.

    latitude  : north positive, -90 to 90 [deg]
    longitude : east positive, -180 to 180 [deg]
    height    : above the WGS 84 ellipsoid, -1 to 850 [km]
    year      : decimal year, 2020.0 to below 2030.0 [yr]
    returns   : the field; the standard error of its declination is sqrt(0.26^2 + (k / H)^2), k = 5417 nT deg
                for WMM2025 and 5625 for WMM2020 [2] [deg, nT]
    Raises ValueError outside these ranges.

    >>> round(earth_field(33.0, -118.0, 44.0, 2025.5).declination, 2)
    11.1

    [1] World Magnetic Model 2020 and 2025, NOAA NCEI and British Geological Survey.
    [2] Their error models, one standard deviation, worldwide.
    """
    from pygeomag import GeoMag
    from pygeomag.wmm.wmm_2020 import WMM_2020
    from pygeomag.wmm.wmm_2025 import WMM_2025

    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):
        raise ValueError(
            f"expected latitude -90 to 90 and longitude -180 to 180 degrees, got {in_full(latitude)} and "
            f"{in_full(longitude)}"
        )
    if not FIRST_YEAR <= year < LAST_YEAR:
        raise ValueError(
            f"expected a date from {rounded(FIRST_YEAR)} to the end of {rounded(LAST_YEAR - 1)}, got {rounded(year, 1)}"
        )
    recent = year >= 2025
    result = GeoMag(coefficients_data=WMM_2025 if recent else WMM_2020).calculate(latitude, longitude, height, year)
    return EarthField(
        declination=result.d,
        standard_error=result.calculate_uncertainty().d,
        inclination=result.i,
        horizontal=result.h,
        total=result.f,
        model="WMM2025" if recent else "WMM2020",
    )


def variation_at(latitude: float, longitude: float, date: datetime.date) -> Variation:
    """Magnetic variation at sea level.

    latitude  : north positive, -90 to 90 [deg]
    longitude : east positive, -180 to 180 [deg]
    date      : from 2020-01-01 to 2029-12-31 [calendar date]
    returns   : variation, east positive, with 1.96 times the model's standard error [deg]
    Raises ValueError outside these ranges, and where the horizontal field is below 2000 nT.

    >>> here = variation_at(40.0, -70.0, datetime.date(2026, 11, 25))
    >>> round(here.east, 1), round(here.expanded_uncertainty, 1)
    (-13.9, 0.7)

    [1] World Magnetic Model 2020 and 2025, NOAA NCEI and British Geological Survey; blackout zone below 2000 nT.
    """
    from pygeomag import calculate_decimal_year

    year = float(calculate_decimal_year(date))
    field = earth_field(latitude, longitude, 0.0, year)
    if field.horizontal < BLACKOUT_BELOW:
        raise ValueError(
            f"the horizontal field here is {rounded_beside(field.horizontal, [BLACKOUT_BELOW])} nT, below "
            f"{in_full(BLACKOUT_BELOW)}; no magnetic sensor works here"
        )
    earlier = year - 1 if year - 1 >= (2025 if year >= 2025 else FIRST_YEAR) else year
    change = earth_field(latitude, longitude, 0.0, min(earlier + 1, LAST_YEAR)).declination - (
        earth_field(latitude, longitude, 0.0, earlier).declination
    )
    return Variation(
        east=field.declination,
        expanded_uncertainty=NORMAL_95 * field.standard_error,
        a_year=signed_angle(change),
        field=field,
        latitude=latitude,
        longitude=longitude,
        date=date,
    )
