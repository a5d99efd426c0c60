"""What can go wrong when a simulated bench is described."""


class SimError(Exception):
    """Base of all errors of the simulated bench."""


class ScenarioError(SimError):
    """A scenario cannot be used; the text says where and what to do."""


class UnknownScenarioError(ScenarioError):
    """No packaged scenario and no file has the given name."""


class FaultError(SimError):
    """A fault on the line is not written as it should be."""


class PortError(SimError):
    """The simulated port cannot be made."""


class OutputError(SimError):
    """A file that was asked for cannot be written."""
