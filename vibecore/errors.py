"""The few errors that reach a person: each message says what is wrong, the value, and what to do next."""


class VibecoreError(Exception):
    """Base of all errors whose text may be shown to a person as it stands."""


class ReadingError(VibecoreError):
    """A file that cannot be read as a recording of acceleration."""


class CaseError(VibecoreError):
    """A case file that does not hold what a case needs."""


class StoreError(VibecoreError):
    """A job that cannot be kept on, or fetched from, the disk."""
