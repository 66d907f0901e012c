"""Limits of the parts and rules of the trade, and a case held against them. Every verdict is made here.

The text of the rules is data: ``tables/rules.toml``, which a terminal or ship adds to or replaces. A measure
finds in a case what a rule speaks of; a ruling holds it against the rule's figure.

Rooms that search, prove or show may import it; it imports ``transient`` and what lies below. It knows nothing
of case files.

Begin with :func:`surge.rules.assess.assess` (a whole case), :func:`surge.rules.findings.findings_of`
(pressures against limits) and :func:`surge.rules.rulings.rule_on` (one rule after another). A new rule:
``tables/rules.toml``; a new measure: :data:`surge.rules.book.MEASURES`.
"""
