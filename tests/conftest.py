"""For every test: on the server random examples are the same each time, so that a red run is the change's own fault.

Run by a person they are drawn anew, and find what nobody thought of.
"""

import os

from hypothesis import settings

settings.register_profile("server", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("person", deadline=None)
settings.load_profile("server" if os.environ.get("CI") else "person")
