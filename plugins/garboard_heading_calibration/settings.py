"""What a shop may decide about heading calibration, and the limits a calculator reads from it."""

from __future__ import annotations

from garboard.fields import amount_field
from garboard.findings import Basis, BasisKind, NotEnoughData, in_full
from garboard.job_view import JobView
from garboard.record_types import frozen
from garboard.records import JsonValue
from garboard.settings import basis_used
from garboard.steps import Field, Kind, Setting

PLUGIN = "heading_calibration"

MAKERS_MANUAL = Basis(
    BasisKind.COMMON_PRACTICE,
    "slow, even circles at 2 to 3 degrees a second in calm water",
    "the sensor maker's manual decides",
)
AS_ITS_MAKER_ASKS = Basis(
    BasisKind.MANUAL, "the heading sensor's own instructions", "how it is mounted, and what it says of its calibration"
)
HANDBOOK = Basis(BasisKind.METHOD, "Handbook of Magnetic Compass Adjustment (formerly Pub. 226), NGA")
SMALL_CRAFT = Basis(
    BasisKind.COMMON_PRACTICE,
    "above 5 degrees of deviation find and remove the cause first",
    "as taught for small craft; flag states ask the same of ships after adjustment",
)
HEADING_DEVICE = Basis(
    BasisKind.STANDARD,
    "IMO resolution MSC.116(73), annex 4.3: static error below 1.0 deg, dynamic error below 1.5 deg",
    "written for ships' transmitting heading devices, on a leisure boat advice; held against what is alike on every "
    "heading, as a deviation card takes out the rest",
)
CLEARANCE = Basis(
    BasisKind.COMMON_PRACTICE,
    "a metre or more from anything magnetic or carrying heavy current",
    "the sensor maker's manual decides",
)


def _good_to(what: str, note: str = "a shop's own records say better") -> Basis:
    """Where a tolerance at 95 % comes from that no standard gives."""
    return Basis(BasisKind.COMMON_PRACTICE, f"{what}, at 95 %", note)


def _practice(text: str) -> Basis:
    return Basis(BasisKind.COMMON_PRACTICE, text, MAKERS_MANUAL.note)


def _amount(name: str, title: str, quantity: str, unit: str, low: float, high: float) -> Field:
    return amount_field(name, title, quantity, unit, None, (low, high))


def _setting(field: Field, default: JsonValue, basis: Basis, at_most: str = "") -> Setting:
    pairs = (f"{PLUGIN}.{at_most}",) if at_most else ()
    return Setting(key=f"{PLUGIN}.{field.name}", field=field, default=default, basis=basis, at_most=pairs)


SETTINGS = (
    _setting(
        _amount("band_low", "Turn no slower than", "rate of turn", "deg/s", 0.5, 20),
        "2 deg/s",
        MAKERS_MANUAL,
        "band_high",
    ),
    _setting(_amount("band_high", "Turn no faster than", "rate of turn", "deg/s", 0.5, 20), "3 deg/s", MAKERS_MANUAL),
    _setting(
        _amount("circles", "Circles wanted", "number", "", 0.5, 10),
        "1.25",
        _practice("a full circle, and a quarter to be sure of it"),
    ),
    _setting(
        _amount("share_in_band", "Share of time in the band", "share", "%", 0, 100),
        "80 %",
        _practice("a helmsman keeps the rate in the band for most of a circle"),
    ),
    _setting(
        _amount("longest_lapse", "Longest time out of the band", "time", "s", 0, 120),
        "10 s",
        _practice("a short lapse does not spoil a circle"),
    ),
    _setting(
        Field(name="card_step", title="Deviation card every", kind=Kind.CHOICE, choices=("10 deg", "15 deg")),
        "15 deg",
        Basis(BasisKind.COMMON_PRACTICE, "deviation cards list every 10 or 15 degrees"),
    ),
    _setting(
        _amount("deviation_limit", "Deviation to look into", "angle", "deg", 0.5, 20),
        "5 deg",
        SMALL_CRAFT,
    ),
    _setting(_amount("offset_limit", "Offset worth entering", "angle", "deg", 0.1, 20), "1 deg", HEADING_DEVICE),
    _setting(_amount("spread_limit", "Spread to look into", "angle", "deg", 0.1, 20), "1.5 deg", HEADING_DEVICE),
    _setting(
        _amount("rate_scale", "Rate of turn good to, of the rate", "share", "%", 0, 20),
        "1.2 %",
        _good_to("the scale of a heading sensor's rate of turn", MAKERS_MANUAL.note),
    ),
    _setting(
        _amount("rate_zero", "Rate of turn good to, at rest", "rate of turn", "deg/s", 0, 1),
        "0.02 deg/s",
        _good_to("the rate of turn a heading sensor shows at rest", MAKERS_MANUAL.note),
    ),
    _setting(
        _amount("reference_error", "Reference of a swing good to", "angle", "deg", 0, 10),
        "0.5 deg",
        _good_to("a hand bearing compass or a range line that every reading is held against"),
    ),
    _setting(
        _amount("current_error", "Speed of a current good to", "speed", "kn", 0, 3),
        "0.2 kn",
        _good_to("the speed of a current from a chart or a drift"),
    ),
    _setting(
        _amount("set_error", "Set of a current good to", "angle", "deg", 0, 180),
        "15 deg",
        _good_to("the direction of a current from a chart or a drift"),
    ),
    _setting(
        _amount("wind_speed_error", "Faster down the wind by up to", "speed", "kn", 0, 5),
        "0.2 kn",
        _good_to("what a breeze adds to a planing boat's speed down the wind"),
    ),
    _setting(
        _amount("leeway", "Leeway across the wind up to", "angle", "deg", 0, 20),
        "1 deg",
        _good_to("how far a breeze pushes a planing boat aside"),
    ),
    _setting(_amount("clearance", "Clearance of a sensor", "length", "m", 0.1, 20), "1 m", CLEARANCE),
    _setting(
        _amount("widest_gap", "Widest gap in a magnetometer's circle", "angle", "deg", 5, 120),
        "45 deg",
        Basis(BasisKind.COMMON_PRACTICE, "an ellipse is only as good as the part of it that was turned through"),
    ),
    _setting(
        _amount("residual_limit", "Scatter of a magnetometer about its ellipse", "share", "%", 0.1, 50),
        "5 %",
        Basis(BasisKind.COMMON_PRACTICE, "a scatter of 5 % of the circle is about 3 degrees of heading"),
    ),
    _setting(
        _amount("hard_iron_limit", "Hard iron to look into", "share", "%", 1, 500),
        "100 %",
        Basis(BasisKind.COMMON_PRACTICE, "iron stronger than the earth's own field is better moved than corrected"),
    ),
)


_BY_NAME = {setting.key.partition(".")[2]: setting for setting in SETTINGS}


def circles_basis(low: float, high: float) -> Basis:
    """Where the band wanted comes from, low to high [deg/s]."""
    text = f"slow, even circles at {in_full(low)} to {in_full(high)} degrees a second in calm water"
    return basis_used(text, (_BY_NAME["band_low"], low), (_BY_NAME["band_high"], high))


def deviation_basis(limit: float) -> Basis:
    """Where the limit of deviation comes from [deg]."""
    text = f"above {in_full(limit)} degrees of deviation find and remove the cause first"
    return basis_used(text, (_BY_NAME["deviation_limit"], limit))


def clearance_basis(metres: float) -> Basis:
    """Where the clearance wanted comes from [m]."""
    text = f"{in_full(metres)} m or more from anything magnetic or carrying heavy current"
    return basis_used(text, (_BY_NAME["clearance"], metres))


@frozen
class Wanted:
    """What a calibration turn has to reach: band [deg/s], degrees, share of time 0 to 1, lapse [s]."""

    low: float
    high: float
    degrees: float
    share: float
    lapse: float

    @property
    def band(self) -> tuple[float, float]:
        """Lowest and highest rate [deg/s]."""
        return self.low, self.high


def wanted_turn(view: JobView) -> Wanted:
    """The shop's demands on a calibration turn. Raises NotEnoughData when the band is upside down."""
    low = view.setting_value("heading_calibration.band_low", "deg/s")
    high = view.setting_value("heading_calibration.band_high", "deg/s")
    if not 0 < low < high:
        raise NotEnoughData(
            f"the band wanted reads {in_full(low)} to {in_full(high)} deg/s; set the lower end below the upper"
        )
    return Wanted(
        low,
        high,
        360 * view.setting_value("heading_calibration.circles"),
        view.setting_value("heading_calibration.share_in_band", "%") / 100,
        view.setting_value("heading_calibration.longest_lapse", "s"),
    )


@frozen(kw_only=True)
class RateErrors:
    """What a rate of turn is good to, at 95 %: share of the rate 0 to 1, and at rest [deg/s]."""

    scale: float
    zero: float


def rate_errors(view: JobView) -> RateErrors:
    """What the shop takes a rate of turn to be good to."""
    return RateErrors(
        scale=view.setting_value("heading_calibration.rate_scale", "%") / 100,
        zero=view.setting_value("heading_calibration.rate_zero", "deg/s"),
    )


USUAL_RATE = RateErrors(scale=0.012, zero=0.02)
"""The defaults above, for a recording judged without a job."""

USUAL_TURN = Wanted(2.0, 3.0, 450.0, 0.8, 10.0)
"""The defaults above, for a recording judged without a job."""
