"""The frozen model of a cage: members, joints, plates, swing-out doors, small parts."""
