"""What is said of dangers where they are met, in one line each; the manual's page on safety says more."""

#: How a machine is made safe before anybody looks into it, as part of a sentence.
MACHINE_OFF = "machine off, plug or battery out, brush stopped"
#: Before bin, brush, filter and wheels are weighed.
OPEN_MACHINE = f"Before you open the machine: {MACHINE_OFF}."
#: Before fine debris is collected. A cloth and the bag of a vacuum cleaner can be weighed as well;
#: dust classes M and H are those of EN 60335-2-69.
MINERAL_DUST = (
    "Never sweep sand or other fine mineral dust dry: use a wet cloth, or a vacuum cleaner of dust class M or H."
)
#: Debris whose larger grains are below this may be of that sort, diameter in mm: the upper end of sand in ISO 14688-1.
SAND_MM = 2.0
#: Beside advice that has a lamp moved, as part of a sentence.
LAMP = "let a hot lamp cool first, and mind its cable"
#: At the foot of printed sheets, which lie where the test is made; a line each.
SHEET = (
    "Safety: scattered grains are slippery. Keep people, children and pets away, and clear up at once. Before you",
    f"touch brush or wheels: {MACHINE_OFF}. Local rules and the machine maker's instructions come first.",
)
#: Before a machine is filmed at work.
FILMING = (
    "while the machine drives keep children and pets away, and do not reach in; before you lift it: "
    f"{MACHINE_OFF}. Weigh the tripod down."
)
