"""Every electrical rule that a plan is read against, each with its source and what to do.

`labels`: strips whose figures do not go together, and groups that are left over. `sources`: supplies and how they are tied. `wires`: fuses,
cables, the data line. `loads`: what the looks and any content draw. `strips`: heat, idle current, the mains side.
"""

from __future__ import annotations

from preview.power.cautions.labels import label_findings
from preview.power.cautions.loads import any_findings, look_findings
from preview.power.cautions.sources import source_findings
from preview.power.cautions.strips import strip_findings
from preview.power.cautions.wires import wire_findings

__all__ = ["any_findings", "label_findings", "look_findings", "source_findings", "strip_findings", "wire_findings"]
