"""What will happen when a program runs at a site, and whether it can: site + program -> plan. Pure."""

from benchctl.planning.draw import plan
from benchctl.planning.plan import Plan

__all__ = ["Plan", "plan"]
