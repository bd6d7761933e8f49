"""Where the planned minutes went."""

from oee.models.account import CellShift
from oee.models.counts import Count, IdealCycle, ProductionPlan, Variant

__all__ = ["CellShift", "Count", "IdealCycle", "ProductionPlan", "Variant"]
