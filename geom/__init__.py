"""daubline: how far a cupola's lining is from its drawing, and what to do about it.

The names are in ``__init__.pyi``; they are loaded when first used, so that importing
the package is instant.
"""

import lazy_loader as _lazy

from geom.shown import shown_by as _shown_by

__getattr__, __dir__, __all__ = _lazy.attach_stub(__name__, __file__)
_shown_by("geom.views.notebook")
