"""Columns of the arrays of a march behind a front; units stand beside each.

Heads [m], flows [m3/s], volumes [m3], pressures of gas [Pa absolute].
"""

from __future__ import annotations

from collections import namedtuple

EMPTIED = 101  # status: the front was driven back to where the line begins

# Pipes, whole numbers (pipes, 2).
T_FIRST = 0  # first node
T_COUNT = 1  # reaches
# Pipes, floats (pipes, T_FLOATS).
T_B = 0  # [s/m2] a/(gA)
T_DX = 1  # [m] length of a reach as it stands in the line
T_Z0 = 2  # [m] elevations of its two ends
T_Z1 = 3
T_AREA = 4  # [m2]
T_STEP = 5  # [m3/s] of the table of losses
T_INERTIA = 6  # [s2/m3] 1/(gA), head per metre for each m3/s2
T_FLOATS = 7
# Links, whole numbers (links, K_INTS).
K_AT = 0  # junction: that before the pipe of this number; the last one is where the line ends
K_KIND = 1
K_LAW = 2  # rows of its law
K_LAW_END = 3
K_CURVE = 4  # rows of its curve
K_CURVE_END = 5
K_INTS = 6
ORIFICE, PUMP, CHECK = 0, 1, 2  # kinds; CHECK besides the loss that stands in an orifice
# Links, floats.
K_C = 0  # [m2.5/s] fully open
K_TAIL0 = 1
K_TAIL2 = 2
K_FLOATS = 3
# Junctions, floats, made anew at every step.
J_LOSS = 0  # [s2/m5] of its orifices
J_SHUT = 1  # 1 where one is shut
J_CHECK = 2  # 1 where nothing flows back
J_PUMPS = 3  # 1 where a pump stands
J_FLOATS = 4
# The gas and the ends.
G_START = 0  # [Pa absolute] pressure, and
G_VOLUME = 1  # [m3] volume at the beginning
G_EXPONENT = 2
G_MODE = 3  # OPEN, SHUT or HOLE
G_RATE = 4  # [1/s] coefficient x area x sqrt(R T) / volume at the beginning
G_RATIO = 5  # of heat capacities
G_BACK = 6  # [Pa absolute] outside
G_LEAST = 7  # [m3] less is none
G_ATMOSPHERE = 8  # [Pa]
G_RHO_G = 9  # [Pa/m]
G_SOURCE = 10  # [m] head that the line begins at, without flow
G_SOURCE_LOSS = 11  # [s2/m5] behind it
G_BEHIND = 12  # [m] head behind what stands at the end, or of the tank there
G_FREE = 13  # 1 where the end is open to a tank
G_FLOATS = 14
OPEN, SHUT, HOLE = 0, 1, 2
# What goes on from step to step, floats.
S_TIP = 0  # [m]
S_Q = 1  # [m3/s]
S_GAS = 2  # [m3] volume of the gas
S_MASS = 3  # [-] of the gas, of what it was
S_P = 4  # [Pa absolute] of the gas
S_IN = 5  # [m3] what came in at the beginning of the line
S_WORK = 6  # [m4] head x volume that the source, less pumps' and losses' share, has given: energy / (rho g)
S_LOST = 7  # [m4] lost by friction and in orifices, less what pumps gave
S_PUSHED = 8  # [m4] given at the front: head there x volume
S_SHARE = 9  # [-] of the step in which the front arrived, up to then
S_CARRIED = 10  # [m4] energy of motion that the liquid has which the front leaves behind
S_TOP = 11  # [Pa absolute] highest pressure of the gas so far
S_TOP_TIME = 12  # [s] when
S_FLOATS = 13
# The same, whole numbers.
I_PIPE = 0
I_NODE = 1  # last node of that pipe behind the front
I_ARRIVED = 2  # step in which the front arrived; -1: not yet
I_BOILED = 3  # step in which a node first fell below the floor; -1: none did
I_INTS = 4
# Columns of a row of history.
R_FRONT_PIPE, R_TIP, R_NODE, R_Q, R_P, R_GAS = 0, 1, 2, 3, 4, 5
R_FLOATS = 6

#   p, m, p2, m2, z, hi, lo (nodes,); drop (nodes,): head lost over a reach at the flow of each node [m];
#   hi_step, lo_step (nodes,); ti (pipes, 2), tf (pipes, T_FLOATS);
#   table (pipes, steps + 1): loss per metre over q|q| [s2/m6]; ki (links, K_INTS), kf (links, K_FLOATS);
#   law_t, law_v; knots, coef of pumps; jf (pipes + 1, J_FLOATS); gas (G_FLOATS,); sf (S_FLOATS,);
#   si (I_INTS,); floor (1,) [m] pressure head at which the liquid boils
FillNet = namedtuple(
    "FillNet",
    (
        "p",
        "m",
        "p2",
        "m2",
        "drop",
        "z",
        "hi",
        "lo",
        "hi_step",
        "lo_step",
        "ti",
        "tf",
        "table",
        "ki",
        "kf",
        "law_t",
        "law_v",
        "knots",
        "coef",
        "jf",
        "gas",
        "sf",
        "si",
        "floor",
    ),
)
