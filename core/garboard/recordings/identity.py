"""What a device on the boat's network says of itself, in its own words: its model, its maker, where it is installed.

Layouts of product and configuration information: [1] open PGN database of the canboat project,
https://github.com/canboat/canboat. Of the sentence VER: as several open parsers read it; IEC 61162-1 itself was not
read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

MODEL, MODEL_VERSION, SERIAL = slice(4, 36), slice(68, 100), slice(100, 132)
"""Where product information holds them [bytes]."""
UTF16, ASCII = 0, 1
PADDING = "\0\xff@ "


def product_information(data: bytes) -> tuple[str, ...]:
    """Model, its version and serial number, as far as they are told.

    data : the message 126996 [1], cut short or not

    >>> product_information(bytes(4) + b"Heading sensor".ljust(32, b"\\xff") + bytes(32) + b"MK 2".ljust(32))
    ('Heading sensor', 'MK 2')
    """
    texts = [_plain(data[place].decode("latin-1")) for place in (MODEL, MODEL_VERSION, SERIAL)]
    return tuple(filter(None, (*texts[:2], f"serial {texts[2]}" if texts[2] else "")))


def configuration_information(data: bytes) -> tuple[str, ...]:
    """The two descriptions of the installation and the maker's own text, as far as they are told.

    data : the message 126998 [1]: texts that each begin with their length and their encoding

    >>> configuration_information(b"\\x06\\x01mast\\x02\\x01\\x09\\x01by hand")
    ('mast', 'by hand')
    """
    found, at = list[str](), 0
    while len(found) < 3 and at + 2 <= len(data) and data[at] >= 2:
        content = data[at + 2 : at + data[at]]
        found.append(_plain(content.decode("utf-16-le" if data[at + 1] == UTF16 else "latin-1", "replace")))
        at += data[at]
    return tuple(dict.fromkeys(filter(None, found)))


def version_sentence(fields: Sequence[str]) -> tuple[str, ...]:
    """Maker, model and serial number out of a VER sentence, as far as they are told.

    fields : after the address: how many sentences, which of them, kind of device, maker, own number, serial number,
             model, software, hardware, sequence

    >>> version_sentence("1,1,HC,MAKER,7,123,FLUX 3,1.04,2,".split(","))
    ('MAKER', 'FLUX 3', 'serial 123')
    """
    maker, serial, model = (_plain(fields[place]) if place < len(fields) else "" for place in (3, 5, 6))
    return tuple(filter(None, (maker, model, f"serial {serial}" if serial else "")))


def _plain(text: str) -> str:
    """What a person can read of a text, without its padding."""
    return "".join(char if char.isprintable() else " " for char in text.split("\0")[0]).strip(PADDING)


IDENTITIES: Mapping[str, Callable[[bytes], tuple[str, ...]]] = {
    "126996": product_information,
    "126998": configuration_information,
}
"""Messages by which a device says what it is."""
