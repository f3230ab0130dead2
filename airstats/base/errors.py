"""The errors that a user of airstats may meet."""


class AirstatsError(ValueError):
    """Root of every error that is about the user's data or call, worded for the user."""


class RecordsError(AirstatsError):
    """The records or the takeoff cannot be used; the message lists every fault found."""


class AllowancesError(AirstatsError):
    """An allowances file cannot be read, or does not fit what is asked of it."""
