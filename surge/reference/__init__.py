"""What the program knows by name: liquids, pipes, hoses, flanges, valves, fittings, wall materials.

Every figure stands in a row with its source, how far that source was seen, and the range in which it holds;
the output repeats them. Rows of liquids are data in ``tables/``; short tables stand in the module that reads
them. The room uses the formulas of :mod:`surge.hydraulics` and the types of :mod:`surge.model`. Cases, rules,
reports and whatever stands above them may import it; nothing in it opens a file but its own tables.

Begin with :mod:`surge.reference.rows` (what a row says), :func:`surge.reference.liquids.at` (a cargo at its
temperature) and :func:`surge.reference.pipes.pipe_size`.
"""
