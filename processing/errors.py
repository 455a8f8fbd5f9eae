"""What can be missing while a recording is measured.

ProcessingError
 +-- NoStroke          the trace holds no press that can be measured
 +-- FeatureNotFound   one number cannot be had from these curves; becomes its reason, never an error
"""

from __future__ import annotations


class ProcessingError(Exception):
    """Anything that keeps a recording from being measured."""


class NoStroke(ProcessingError):
    """The trace holds no press that can be measured."""


class FeatureNotFound(ProcessingError):
    """One number cannot be had from these curves; the text says why, for a reader."""
