"""What stands in which column of the kernel's arrays, and the whole numbers that stand for kinds and endings.

Points, pipe ends, links, clusters, trees and chains are rows of an integer array and of a float array each.
Whoever lays out an array (:mod:`surge.transient.grid`) and whoever reads one take the columns from here.
Heads [m], flows [m3/s], everything else SI.
"""

from __future__ import annotations

# Kinds of link. An orifice is a valve or a passage: Q = c*sqrt(dH).
ORIFICE, PUMP, LUMPED = 0, 1, 2
# Kinds of point.
FREE, FIXED = 0, 1
# What a march ends with.
OK, NOT_CONVERGED, NOT_FINITE, STOPPED_AT_VAPOUR = 0, 1, 2, 3
# What stops the flow through a chain: nothing, a shut valve, a non-return valve.
FLOWS, SHUT, CHECKED = 0, 1, 2
# Columns of points: kind, place among the dry points of its cluster (no pipe, no storage, no
# tank) or -1, steps of the highest and lowest head; fixed head (0 where it is free), Z (0 where it
# is fixed), sum(y), y of storage, what the storage brings, head, sum(x*y), highest and lowest head;
# sum(y) and sum(x*y) with what lies beyond in a tree.
P_KIND, P_DRY, P_HI_STEP, P_LO_STEP, P_INTS = 0, 1, 2, 3, 4
(P_FIXED, P_Z, P_Y, P_STUB_Y, P_STUB, P_H, P_XY, P_HI, P_LO, P_TAKES, P_BRINGS, P_FLOATS) = range(12)
# Columns of ends, all starts of pipes before all far ends: node, row of the loss table, point;
# 1/B, loss coefficient, x, loss still to come on arrival.
E_NODE, E_ROW, E_POINT, E_INTS = 0, 1, 2, 3
E_Y, E_R, E_X, E_LOSS, E_FLOATS = 0, 1, 2, 3, 4
# Columns of links: kind, start and end point, non-return valve,
# held shut by it, first and last row of the pump's curve, row of the lumped element's loss table;
# c fully open, c*c now, flow, speed, tail of the curve, 2I/dt, 1/step of the loss table, memory.
(L_KIND, L_A, L_B, L_CHECK, L_HELD, L_CURVE, L_CURVE_END, L_TABLE, L_INTS) = range(9)
(L_C, L_C2, L_Q, L_SPEED, L_TAIL0, L_TAIL2, L_Z, L_STEP, L_MEMORY, L_FLOATS) = range(10)
# Columns of clusters: first and last link and point in the list of members; rows in the list of trees,
# none if it is not one.
C_LINK, C_LINK_END, C_POINT, C_POINT_END, C_TREE, C_TREE_END, C_INTS = 0, 1, 2, 3, 4, 5, 6
# Columns of trees, a row for every link, those farthest from the root first: link, +1 where it leads
# from parent to child and -1 the other way, points.
T_LINK, T_SIDE, T_PARENT, T_CHILD, T_INTS = 0, 1, 2, 3, 4
# Columns of chains, a row for every link in order: link, +1 where the chain runs from its start to
# its end and -1 the other way, points before and behind it.
CH_LINK, CH_SIDE, CH_A, CH_B, CH_INTS = 0, 1, 2, 3, 4
