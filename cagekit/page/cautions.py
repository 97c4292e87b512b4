"""The cautions that stand on every page."""

CAUTIONS = (
    "A cage can kill when it is wrong. cagekit computes geometry and screening figures only.",
    "The current rulebook and the scrutineer decide; structural and weld decisions belong to "
    "qualified people; on the road local law applies, and bare tube near a head without a helmet "
    "is a danger of its own.",
    "Measure twice on the real car. Welding, grinding, galvanised coatings and pinch points need "
    "the usual protection.",
)
