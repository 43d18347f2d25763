"""Which form stored data is of, and the one chain of changes that brings an older version up to this program's."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import attrs

from garboard.faults import Fault, InputError, shown

if TYPE_CHECKING:  # the records are many, and the app's first frame needs none of them
    from garboard.records import JsonValue


@attrs.frozen
class Format:
    """A form of stored data.

    name    : what data of this form says it is, such as "garboard job"
    changes : each makes the next version out of one; the first takes version 1
    """

    name: str
    changes: tuple[Callable[[dict[str, JsonValue]], dict[str, JsonValue]], ...] = ()

    @property
    def version(self) -> int:
        """The version this program writes."""
        return 1 + len(self.changes)

    @property
    def heading(self) -> dict[str, JsonValue]:
        """The two keys that name form and version."""
        return {"format": self.name, "version": self.version}

    def names(self, plain: Mapping[str, JsonValue]) -> bool:
        """Whether data says that it is of this form, in whichever version."""
        return plain.get("format") == self.name

    def reads(self, version: int) -> bool:
        """Whether this program can read a version."""
        return 1 <= version <= self.version

    def fault(self, plain: Mapping[str, JsonValue]) -> Fault | None:
        """What keeps data from being read as this form; None where nothing does."""
        version = plain.get("version")
        if not self.names(plain):
            return Fault("format", f'"{self.name}"', _stands(plain, "format"))
        if type(version) is not int or version < 1:
            return Fault("version", f"a whole number, {self.version} at most", _stands(plain, "version"))
        if not self.reads(version):
            return Fault(
                "version", f"{self.version} at most; update this program, the file was left alone", str(version)
            )
        return None

    def refuse_newer(self, version: int, what: str) -> None:
        """Raise NewerFormat where this program is too old for a version of `what`."""
        if version > self.version:
            from garboard.disk.storage import NewerFormat  # here: a job file is read without what keeps data

            raise NewerFormat(
                f"{what} has version {version} of its form; this program reads version {self.version} at most. "
                "Install the newer version; the file was left as it is"
            )

    def current(self, plain: Mapping[str, JsonValue], source: str) -> dict[str, JsonValue]:
        """Data as this version has it.

        source : what was read, for the fault
        errors : InputError with the one fault when it is not of this form, or newer
        """
        if fault := self.fault(plain):
            raise InputError(source, [fault])
        version = plain["version"]
        assert isinstance(version, int)
        return {**self.brought_up(dict(plain), version), **self.heading}

    def brought_up(self, plain: dict[str, JsonValue], version: int) -> dict[str, JsonValue]:
        """Data of a version this program reads, as its own version has it. Keys no change names are kept."""
        for change in self.changes[version - 1 :]:
            plain = change(plain)
        return plain


def _stands(plain: Mapping[str, JsonValue], key: str) -> str:
    return shown(plain[key]) if key in plain else "nothing (the key is missing)"
