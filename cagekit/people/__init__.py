"""The person in the car: body, posture, what it touches, what it sees, how it gets out.

Pure geometry on numpy from the driver sheet, the car sheet and the members' centre lines; the
checks make findings of it and the views draw it.
"""

from __future__ import annotations

from cagekit.people.posture import Occupant, seated

__all__ = ["Occupant", "seated"]
