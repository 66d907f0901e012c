"""The kernel's arrays: what stands in which column, with its unit, and the whole numbers for kinds and
endings.

Whoever lays out an array (:mod:`surge.transient.grid`) and whoever reads one take the columns from here.

============  ========================  =====================================================================
array         shape                     a row for every
============  ========================  =====================================================================
pi, pf        (points, P_INTS/_FLOATS)  point: junction, tank, dead end, or where links meet
ei, ef        (ends, E_INTS/_FLOATS)    pipe end; the starts of all pipes, then all far ends
li, lf        (links, L_INTS/_FLOATS)   link: valve, passage, pump, lumped element, relief valve, drum
chain         (rows, CH_INTS)           link of a chain (links behind one another), chain after chain
chains        (chains, 2)               chain: its first row in ``chain``, and the row after its last
ci            (clusters, C_INTS)        cluster: links that branch, and the points which they join
members       (m,)                      nothing: links and points of all clusters, one after the other
tree          (rows, T_INTS)            link of a cluster that is a tree, those farthest from the root first
pairs, plain  (n,)                      orifice alone between its points; point without a link
knots, coef   (rows,), (rows, 4)        piece of a pump curve, curve after curve: knot [m3/s], cubic
tables        (lumped, steps + 1)       loss table of a lumped element [m]
============  ========================  =====================================================================

Names that end in ``i`` and the lists are int64, all others float64. Heads [m], flows [m3/s], else SI. In a
batch (:mod:`surge.kernel.batch_march`) an index for the scenario comes last.
"""

from __future__ import annotations

# Kinds of link. An orifice is a valve or a passage: Q = c*sqrt(dH). A relief valve leads from its point to
# the vessel that it opens to, a surge drum to a point of no pressure.
ORIFICE, PUMP, LUMPED, RELIEF, DRUM = 0, 1, 2, 3, 4
# Kinds of point.
FREE, FIXED = 0, 1
# What a march ends with.
OK, NOT_CONVERGED, NOT_FINITE, STOPPED_AT_VAPOUR = 0, 1, 2, 3
# What stops the flow through a chain: nothing, a shut valve, a non-return valve.
FLOWS, SHUT, CHECKED = 0, 1, 2

# Points, pi.
P_KIND = 0  # FREE or FIXED
P_DRY = 1  # place among the dry points of its cluster (no pipe, no storage, no tank), or -1
P_HI_STEP = 2  # step of the highest head
P_LO_STEP = 3  # step of the lowest head
P_INTS = 4
# Points, pf.
P_FIXED = 0  # [m] head that a tank holds; 0 at a free point
P_Z = 1  # [s/m2] impedance 1/sum(y); 0 at a tank
P_Y = 2  # [m2/s] sum(y) of pipe ends and storage
P_STUB_Y = 3  # [m2/s] y of the storage of lumped elements
P_STUB = 4  # [m] head that this storage brings
P_H = 5  # [m] head
P_XY = 6  # [m3/s] sum(x*y) of pipe ends and storage
P_HI = 7  # [m] highest head
P_LO = 8  # [m] lowest head
P_TAKES = 9  # [m2/s] sum(y) with what lies beyond in a tree
P_BRINGS = 10  # [m3/s] sum(x*y) with what lies beyond in a tree
P_FLOATS = 11

# Pipe ends, ei.
E_NODE = 0  # node of the long array
E_ROW = 1  # row of its loss table
E_POINT = 2  # point at which it ends
E_INTS = 3
# Pipe ends, ef.
E_Y = 0  # [m2/s] y = 1/B
E_R = 1  # [1/m] loss coefficient of half a reach: loss = r*d*|d| with d = 2BQ [m]
E_X = 2  # [m] head that would stand at the end if nothing flowed
E_LOSS = 3  # [m] loss of half a reach that the wave still has to pay on arrival
E_SHARE = 4  # [-] fraction of a step by which the way through the pipe is longer than its reaches
E_PAST = 5  # [m] the wave that would have arrived a step before without that fraction
E_FLOATS = 6

# Links, li.
L_KIND = 0  # ORIFICE, PUMP, LUMPED, RELIEF or DRUM
L_A = 1  # point at its start
L_B = 2  # point at its end
L_CHECK = 3  # 1: it has a non-return valve
L_HELD = 4  # 1: its non-return valve is shut now
L_CURVE = 5  # first row of a pump's curve
L_CURVE_END = 6  # row after its last
L_TABLE = 7  # row of a lumped element's loss table
L_STATE = 8  # 1: it keeps a state of its own, which every step moves on
L_INTS = 9
# Links, lf.
L_C = 0  # [m2.5/s] c of an orifice, fully open
L_C2 = 1  # [m5/s2] c*c now; 0 is shut
L_Q = 2  # [m3/s] flow from start to end
L_SPEED = 3  # [-] speed of a pump
L_TAIL0 = 4  # [m] of the tail of its curve, H = tail0 - tail2*Q*Q
L_TAIL2 = 5  # [s2/m5]
L_Z = 6  # [s/m2] 2I/dt of a lumped element
L_STEP = 7  # [s/m3] 1/step of its loss table
L_MEMORY = 8  # [m] what its inertia carries over from the step before
# Of a relief valve, whose head counts from what stands behind it.
L_SET = 9  # [m] head at which it begins to open
L_SPAN = 10  # [m] further head that opens it fully
L_LEAST = 11  # [-] least lift that it can have at this instant
L_MOST = 12  # [-] greatest lift that it can have at this instant
L_RATE = 13  # [-] by how much its lift can change in a step
L_LIFT = 14  # [-] lift now
L_HIGHEST = 15  # [-] greatest lift so far
L_PASSED = 16  # [m3] volume that has passed
L_BEFORE = 17  # [m3/s] flow a step ago
L_OPENED = 18  # [s] when it first opened; below 0: never
L_OVER = 19  # [m] head before it a step ago
L_FIXED = 20  # [-] lift at which it stands while its point is solved; 0: by the head
L_FLOATS = 21
# Of a drum, in the same columns.
D_GAS = 9  # [m3] gas volume now
D_LAW = 10  # [m m3**n] absolute head of the gas times V**n
D_EXPONENT = 11  # [-] n
D_HALF = 12  # [s] half of a step
D_NECK = 13  # [s2/m5] loss of the neck by Q|Q|
D_VESSEL = 14  # [m3] volume of the vessel
D_SMALLEST = 15  # [m3] smallest gas volume so far
D_LARGEST = 16  # [m3] largest
D_BEFORE = 17  # [m3/s] flow a step ago
D_EMPTIED = 18  # [s] when the gas first filled the vessel; below 0: never

# Of a non-return valve, in the same columns.
V_REVERSE = 9  # [m3/s] reverse flow at which it begins to shut; 0 for that of a pump
V_DELAY = 10  # [s] after that
V_CLOSING = 11  # [s] it takes to shut
V_BEGINS = 12  # [s] when it begins to shut; below 0: it stands open
V_RATIO = 13  # [-] share of its Kv now
V_GREATEST = 14  # [m3/s] greatest reverse flow so far
V_STOPPED = 15  # [m3/s] greatest reverse flow that it stopped in no time, or at the end of its closing
V_CLOSED = 16  # [s] when it was first shut; below 0: never
V_BEFORE = 17  # [m3/s] flow a step ago

# Of a pump that trips, in the same columns (the first is V_REVERSE, 0).
T_AT = 10  # [s] when it trips
T_K = 11  # [1/(m s)] fall of its speed by head/(2 - r)
T_BEST = 12  # [m3/s] best flow at full speed
T_MOST = 13  # [m3/s] greatest flow that is known at full speed
T_SHUT_OFF = 14  # [m] head at no flow and full speed
T_FALL = 15  # [1/s] fall of its speed a step ago; below 0: not yet
T_UNKNOWN = 16  # [s] when it first left what is known of it; below 0: never

# Clusters, ci: first and last place (one beyond) in ``members`` and in ``tree``; no rows: it is no tree.
C_LINK, C_LINK_END, C_POINT, C_POINT_END, C_TREE, C_TREE_END, C_INTS = 0, 1, 2, 3, 4, 5, 6
# Trees: link, +1 where it leads from parent to child and -1 the other way, the two points.
T_LINK, T_SIGN, T_PARENT, T_CHILD, T_INTS = 0, 1, 2, 3, 4
# Chains: link, +1 where the chain runs from its start to its end and -1 the other way, points before and
# behind it.
CH_LINK, CH_SIGN, CH_A, CH_B, CH_INTS = 0, 1, 2, 3, 4

# Rows of a batch's room for chains and clusters, ``work`` (W_ROWS, scenarios).
W_FLOW = 0  # [m3/s] through the chain
W_DRIVE = 1  # [m] what drives it
W_SQUARES = 2  # [s2/m5] sum of 1/c2 of its orifices
W_WHY = 3  # FLOWS, SHUT or CHECKED
W_SEEK = 4  # 1 while the flow is still sought
W_LOW = 5  # [m3/s] bracket
W_HIGH = 6  # [m3/s]
W_LOSS = 7  # [m] of all links
W_SLOPE = 8  # [s/m2] of all links
W_LINK_FLOW = 9  # [m3/s] of one link, positive from its start to its end
W_LINK_LOSS = 10  # [m]
W_LINK_SLOPE = 11  # [s/m2]
W_ROWS = 12
