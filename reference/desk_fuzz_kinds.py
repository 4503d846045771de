"""Kinds of content that schemathesis does not write by itself; desk_fuzz.py names this module to it."""

import schemathesis


@schemathesis.serializer("application/toml")
def toml_text(_context: schemathesis.SerializationContext, value: object) -> bytes:
    """The description says a string: whatever text it makes up, most of it no TOML, which the desk must refuse kindly."""
    return str(value).encode("utf-8", "surrogatepass")
