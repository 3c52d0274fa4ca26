"""Every way tepui says no, each as one sentence to the operator.

The family::

    TepuiError                 exit 3   could not finish
    |-- InputError             exit 2   what was given cannot be used
    |   |-- ChoiceError                 not one of the allowed values
    |   |-- RangeError                  outside the allowed range
    |   |-- QuantityError               text that is no number with a unit
    |   `-- FormatError                 a file that is not what it should be
    `-- UnfinishedError        exit 3   disk, device or our own fault

A message says what was found, what is allowed, whose limit it is and what to do. It ends with a full stop.
"""


class TepuiError(Exception):
    """A sentence for the operator; ``exit_code`` is what the shell sees."""

    exit_code = 3


class InputError(TepuiError, ValueError):
    """What the operator gave cannot be used as it is."""

    exit_code = 2


class ChoiceError(InputError):
    """A value that is not one of the few allowed."""


class RangeError(InputError):
    """A number outside the range its source allows."""


class QuantityError(InputError):
    """Text that is not a number with a unit of the right kind."""


class FormatError(InputError):
    """A file that is not what its name, header or sidecar promises."""


class UnfinishedError(TepuiError):
    """The work stopped for a reason outside the input: disk, device, or a fault of ours."""
