"""How a job is carried out, whatever it works on."""

from __future__ import annotations

from dataclasses import dataclass, field

from postfix.deliver.delivery import Delivery
from postfix.job.crew import Alone, Crew


@dataclass(frozen=True)
class Settings:
    """How a job is carried out, whatever it works on."""

    force: bool = False
    resume: bool = False
    quiet: bool = False
    check: bool = True
    every: int = 1
    delivery: Delivery = field(default_factory=Delivery)
    crew: Crew = field(default_factory=Alone)
