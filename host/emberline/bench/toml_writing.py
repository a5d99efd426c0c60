"""Text as it stands in a TOML file."""

import json


def quoted(text: str) -> str:
    """Return a text as a TOML basic string (TOML 1.0.0, section String), which any reader turns back into the text.

    The escapes of a JSON string (RFC 8259, section 7) are all known to TOML, which besides wants DEL escaped.
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
