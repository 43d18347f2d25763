"""Garboard: from "last wire labelled" to "signed over to its owner", for newly rigged outboard boats."""

import pluggy

__all__ = ["API_VERSION", "OLDEST_API_VERSION", "__version__", "hookimpl"]

__version__ = "0.1.0"

API_VERSION = 1
"""Version of the front door: the hooks and the modules that lie flat in this package. It rises when a plugin written
for an older version would need a change."""

OLDEST_API_VERSION = 1
"""Plugins written for this version of the front door, or for any up to API_VERSION, still work."""

# Made here and not in `hooks`, so that `import garboard` imports no other module of the package.
hookimpl = pluggy.HookimplMarker("garboard")
