"""No test reads or leaves anything in the user's cache folder."""

import os

os.environ["PLANCHA_CACHE"] = "off"
