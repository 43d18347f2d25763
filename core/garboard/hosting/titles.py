"""Steps and places of measurements in the words the person saw, as the loaded plugins declare them."""

from __future__ import annotations

from garboard.hosting.host import PluginHost
from garboard.job_view import FieldKey


def place_in_words(place: FieldKey, host: PluginHost) -> str:
    """Where a measurement belongs, in the words the person saw ("Full throttle: engine speed, port")."""
    step_key, field_name, row, of = place
    step = host.step(step_key)
    named = (field.title for field in step.all_fields() if field.name == field_name) if step else iter(())
    field = next(named, None) or field_name.replace("_", " ")
    return ", ".join([f"{step.title if step else step_key}: {field}", *filter(None, (of, row))])


def name_in_words(name: str, host: PluginHost) -> str:
    """What `registers.name_of` names, in the words the person saw."""
    step, *rest = name.split("/")
    if host.step(step) is not None and 0 < len(rest) < 4:
        field, row, of = (*rest, "", "")[:3]
        return place_in_words((step, field, row, of), host)
    return name.replace("/", " ").replace("_", " ").capitalize()


def title_of(step_key: str, host: PluginHost) -> str:
    """The title of a step, or its key when no loaded plugin declares it."""
    step = host.step(step_key)
    return step.title if step else step_key
