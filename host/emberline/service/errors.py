"""What can go wrong in the running daemon, each with what to do about it."""


class ServiceError(Exception):
    """Root of all errors of this package; the message says what to do."""


class NoDaemonError(ServiceError):
    """No daemon answers for a data folder."""


class RequestError(ServiceError):
    """A request cannot be granted now; the message says why, and what to do instead."""


class TaskFailedError(ServiceError):
    """A task of the daemon failed in a way that starting it again does not mend."""


class ApartError(ServiceError):
    """Work in a process of its own failed."""


class BegunAnewError(ServiceError):
    """The process that followed a record is another one now, and has yet to be told of that record."""
