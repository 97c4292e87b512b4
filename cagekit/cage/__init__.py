"""The cage: members, joints, plates, and how they are put together."""
