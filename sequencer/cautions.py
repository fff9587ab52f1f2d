"""The usual cautions; shown before anything is energised, and in every report."""

CAUTIONS = (
    "Mains: parts inside the unit are at line voltage while it is plugged in. Work inside a unit "
    "is for people who are qualified for it; local codes and licensed practice come first.",
    "Heat: at full power the unit's heatsink, the load and any resistors get hot enough to burn "
    "skin and to set things on fire. Keep them clear, and don't leave energised equipment without "
    "the fire precautions that your place asks for.",
    "Stored energy: capacitors hold charge after switching off. Measure before you touch.",
    "Knobs: turn a unit's voltage fully down before it is switched on. The run asks for the output "
    "and the limit first; until it asks for the voltage, load and meters meet what is set.",
    "Guards and making safe lower risks; they don't remove them, and this program can't know "
    "whether a bench is safe.",
)
