"""The safety text, once: README, `check`, `init` and every report print it from here.

Kept in plain words that somebody reads who is tired and no electrician. It knows nothing else.
"""

SAFETY_LINES = (
    "Advice only. This is no guarantee against frost, fire or loss, and it protects nobody's life.",
    "It senses no carbon monoxide, smoke or gas: never burn anything in a shut house, never sleep there.",
    "Mains in the wet is work for licensed trades; keep this machine on another circuit than the heater.",
    "Silence is not safety: keep an independent thermostat and a battery alarm.",
)
"""The short form, at the foot of every report."""

SAFETY_TEXT = (
    (
        "Advice only. Sensors, radio, message post, mains, internet and phones all fail at times. This "
        "program gives no guarantee against frost, fire or loss, and it is not made to protect anybody's "
        "life."
    ),
    (
        "Silence is not safety. No message may mean that all is well, or that nothing works any more. Run "
        "the drill every month, and have something elsewhere call you when it stops hearing from here."
    ),
    (
        "Keep a frost thermostat that works without this program, and a battery-driven alarm for high and "
        "low temperature that you can hear where you sleep."
    ),
    (
        "Heaters that burn gas, paraffin, wood or charcoal give off carbon monoxide, and fumes that harm "
        "plants. Never run one without a flue in a shut house, do not stay in there with it, give a flued "
        "one the air it needs, and fit a listed carbon monoxide alarm. A headache means: out at once, into "
        "fresh air. This program senses no carbon monoxide, no smoke and no gas."
    ),
    (
        "Mains electricity in a wet place can kill. Have it put in by a licensed electrician, after the "
        "code that holds where you live: protected by a residual-current device, made for wet rooms, cables "
        "hung so that water drips off before the socket, no chains of extension leads, nothing near a "
        "heater that can burn. Gas is work for a licensed fitter."
    ),
    (
        "Use extra-low-voltage sensors, hold their cables so that nothing pulls on them, and lead none of "
        "them across a heater's guard."
    ),
    (
        "Put the computer and the router on another circuit than the heater: else what stops the heater "
        "stops the alarm, too."
    ),
    ("For sealing compounds, preservatives, sprays and lime sulphur the label holds; give them fresh air."),
)
"""The long form, one paragraph each: README, `check` and `init`."""
