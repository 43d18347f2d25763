"""Steps and places of measurements in the words the person saw, as the loaded plugins declare them."""

from __future__ import annotations

from collections.abc import Iterable

import attrs

from garboard.fields import Kind
from garboard.findings import OF_VESSEL
from garboard.hosting.equipment import piece_title
from garboard.hosting.host import PluginHost
from garboard.job_view import FieldKey, JobView, place_of_fact
from garboard.records import EQUIPMENT, RECORD_OF, is_own_kind

_NAMING = (Kind.TEXT, Kind.CHOICE, Kind.AMOUNT)


def place_in_words(place: FieldKey, host: PluginHost, view: JobView | None = None) -> str:
    """Where a measurement belongs, in the words the person saw ("Full throttle: engine speed, port").

    view : the job, where its rows are to be named ("run 2, against")
    """
    step_key, field_name, row, of = place = place_of_fact(place)
    kind, _, fact = field_name.rpartition(".")
    if step_key == OF_VESSEL and (declared := host.equipment.get(kind)) is not None:
        known = declared.field(fact)
        return f"{piece_title(kind, of, host.equipment)}: {known.title if known else fact.replace('_', ' ')}"
    if step_key == OF_VESSEL and not is_own_kind(kind):
        return fact_in_words(f"{kind}/{of}/{fact}" if kind in EQUIPMENT else field_name)
    step = host.step(step_key)
    titles = (field.title for field in step.all_fields() if field.is_called(field_name)) if step else iter(())
    field = next(titles, None) or field_name.replace("_", " ") or "no name"
    named = row_in_words(place, host, view) if row and view is not None else row
    return ", ".join([f"{title_of(step_key, host) or 'no step'}: {field}", *filter(None, (of, named))])


def fact_in_words(path: str) -> str:
    """A fact of the vessel by its path, as a person calls it; of kinds of the program's own.

    >>> fact_in_words("beam"), fact_in_words("engines/port/serial_number")
    ('Vessel: beam', 'port engine: serial number')
    >>> fact_in_words("engines/port/propeller/pitch"), fact_in_words("networks/main/devices/plotter/drop_length")
    ('port engine: propeller, pitch', 'instrument network main: device plotter, drop length')
    """
    kind, _, rest = path.partition("/")
    inner, _, fact = rest.rpartition("/")
    if kind not in EQUIPMENT or not inner:
        told = path.replace("/", " ").replace("_", " ").strip()
        return f"Vessel: {told}" if told else "Vessel"
    piece, _, device = inner.partition("/devices/")
    of_propeller = kind == "engines" and piece.endswith("/propeller")
    piece = piece.removesuffix("/propeller") if of_propeller else piece
    within = "propeller" if of_propeller else "devices" if device else kind
    fields = attrs.fields_dict(RECORD_OF[within])
    title = fields[fact].metadata.get("title") if fact in fields else ""
    part = "propeller, " if of_propeller else f"device {device}, " if device else ""
    return f"{piece_title(kind, piece, {})}: {part}{_lower(title) if title else fact.replace('_', ' ')}"


def _lower(title: str) -> str:
    """A title within a sentence: an abbreviation stays as it is."""
    return title if title[1:2].isupper() else f"{title[:1].lower()}{title[1:]}"


def row_in_words(place: FieldKey, host: PluginHost, view: JobView) -> str:
    """What a person calls the row of a place, by the first column of its table: "Forward", "run 2, against".

    Only a text names a row alone. A choice or an amount stands behind the number, as two rows may have the same.
    """
    step_key, field_name, row, _ = place
    step = host.step(step_key)
    tables = [field for field in step.fields if field.kind is Kind.TABLE] if step else []
    table = next((one for one in tables if any(column.is_called(field_name) for column in one.columns)), None)
    if table is None:
        return row
    ordinal = f"{table.name.removesuffix('s') if table.name.endswith('s') else 'row'} {row}".replace("_", " ")
    first = table.columns[0]
    value = view.value(step_key, first.name, row=row) if first.kind in _NAMING and not first.each else None
    if not isinstance(value, str) or not value or first.is_called(field_name):
        return ordinal
    return value if first.kind is Kind.TEXT else f"{ordinal}, {value}"


def name_in_words(name: str, host: PluginHost, view: JobView | None = None) -> str:
    """What `registers.name_of` names, in the words the person saw.

    view : the job, where its rows are to be named
    """
    step, *rest = name.split("/")
    if step == OF_VESSEL and rest:
        return place_in_words((OF_VESSEL, "/".join(rest), "", ""), host)
    if step in host.equipment and len(rest) > 1:
        return place_in_words((OF_VESSEL, name, "", ""), host)
    is_key = "." in step and " " not in step  # also of a step whose plugin is not at work
    if is_key and 0 < len(rest) < 4:
        field, row, of = (*rest, "", "")[:3]
        return place_in_words((step, field, row, of), host, view)
    kind, _, subject = name.partition(" ")
    if kind == "step" and subject:
        return f"{title_of(subject, host)}: state"
    told = kind_in_words(kind, subject.split("/"))
    return told[:1].upper() + told[1:]  # what follows may be a person's name


def kind_in_words(kind: str, subject: Iterable[str]) -> str:
    """What an entry is about by its kind. Entries of a plugin that is not here often begin with its name again, which
    is said once.

    >>> kind_in_words("paint_check", ("paint_check", "gloss")), kind_in_words("signoff", ("owner", "A. Marsh"))
    ('paint check gloss', 'signoff owner A. Marsh')
    """
    first, *rest = (*subject, "")
    told = (kind, *rest) if first == kind else (kind, first, *rest)
    words = " ".join(filter(None, told)).replace("/", " ").replace("_", " ")
    return words if words.strip() else "entry"


MOST_TOLD = 3


def names_in_words(names: Iterable[str], host: PluginHost) -> str:
    """What several names of `registers.name_of` name, each once: the first few, and how many more."""
    words = list(dict.fromkeys(name_in_words(name, host) for name in names))
    more = len(words) - MOST_TOLD
    return "; ".join(words[:MOST_TOLD]) + (f"; and {more} more" if more > 0 else "")


def title_of(step_key: str, host: PluginHost) -> str:
    """The title of a step, or its key when no loaded plugin declares it."""
    step = host.step(step_key)
    return step.title if step else step_key
