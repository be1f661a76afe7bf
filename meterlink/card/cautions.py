"""The cautions that every card begins with."""

from typing import Final

STANDING: Final = (
    "Ignition off, plug lead off the plug and earthed to the block.",
    "Engine cold. Springs, flywheels and starters store energy: keep hands and sleeves clear.",
    "Never test the resistance of a live circuit, and never crank with a meter connected.",
    "Secondary voltage injures and stops pacemakers: with one, stay away from a running engine.",
    "Fuel and vapour are at hand: no sparks, heat guns or lamps near an open tank or line.",
    "The engine maker's service manual and local rules come before this program, and licensed "
    "practice where the law asks for it.",
)
"""Shown and acknowledged before readings count; one sentence or two each."""
