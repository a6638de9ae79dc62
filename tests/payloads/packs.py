"""The example packs of RFC 8428 section 5.1, and how their records resolve.

`published`: RFC 8428 (August 2018), sections 5.1.1 to 5.1.7, each pack in full; the stream example of 5.1.3
is given there with dots at its end and stands here as far as it goes. Resolved records are those of section
5.1.4 where the RFC prints them and follow from section 4.6 elsewhere. Written down from memory.
"""

from monitor.payloads.senml_pack import Record

NOW_S = 1_700_000_000.0

ONE = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
TWO = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""
SEVEN = """[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""
MOVING = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""
STREAM = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":21.2},
  {"t":10,"v":21.3},
  {"t":20,"v":21.4},
  {"t":30,"v":21.4},
  {"t":40,"v":21.5},
  {"t":50,"v":21.5},
  {"t":60,"v":21.5},
  {"t":70,"v":21.6},
  {"t":80,"v":21.7}
]"""
FOUR_TYPES = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfv-reader","vd":"aGkgCg"}
]"""
COLLECTION = """[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""
ACTUATOR = """[
  {"bn":"urn:dev:ow:10e2073a01080063:"},
  {"n":"temp","u":"Cel","v":23.1},
  {"n":"heat","u":"/","v":1},
  {"n":"fan","u":"/","v":0}
]"""

_DEVICE = "urn:dev:ow:10e2073a01080063"
_METER = "urn:dev:ow:10e2073a0108006:"

RESOLVED = {
    ONE: [Record(_DEVICE, "Cel", 23.1, None)],
    TWO: [Record(f"{_DEVICE}:voltage", "V", 120.1, None), Record(f"{_DEVICE}:current", "A", 1.2, None)],
    SEVEN: [
        Record(f"{_METER}voltage", "V", 120.1, 1276020076.001),
        Record(f"{_METER}current", "A", 1.2, 1276020071.001),
        Record(f"{_METER}current", "A", 1.3, 1276020072.001),
        Record(f"{_METER}current", "A", 1.4, 1276020073.001),
        Record(f"{_METER}current", "A", 1.5, 1276020074.001),
        Record(f"{_METER}current", "A", 1.6, 1276020075.001),
        Record(f"{_METER}current", "A", 1.7, 1276020076.001),
    ],
    MOVING: [
        Record(_DEVICE, "%RH", 20, 1320067464),
        Record(_DEVICE, "lon", 24.30621, 1320067464),
        Record(_DEVICE, "lat", 60.07965, 1320067464),
        Record(_DEVICE, "%RH", 20.3, 1320067524),
        Record(_DEVICE, "lon", 24.30622, 1320067524),
        Record(_DEVICE, "lat", 60.07965, 1320067524),
        Record(_DEVICE, "%RH", 20.7, 1320067584),
        Record(_DEVICE, "lon", 24.30623, 1320067584),
        Record(_DEVICE, "lat", 60.07966, 1320067584),
        Record(_DEVICE, "%EL", 98, 1320067614),
        Record(_DEVICE, "%RH", 21.2, 1320067644),
        Record(_DEVICE, "lon", 24.30628, 1320067644),
        Record(_DEVICE, "lat", 60.07967, 1320067644),
    ],
    STREAM: [
        Record(_DEVICE, "%RH", value, 1320067464 + 10 * step)
        for step, value in enumerate((21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7))
    ],
    FOUR_TYPES: [
        Record(f"{_DEVICE}:temp", "Cel", 23.1, None),
        Record(f"{_DEVICE}:label", None, "Machine Room", None),
        Record(f"{_DEVICE}:open", None, False, None),
        Record(f"{_DEVICE}:nfv-reader", None, b"hi \n", None),
    ],
    COLLECTION: [
        Record("2001:db8::2/temperature", "Cel", 25.2, 1320078429),
        Record("2001:db8::2/humidity", "%RH", 30, 1320078429),
        Record("2001:db8::1/temperature", "Cel", 12.3, 1320078429),
        Record("2001:db8::1/humidity", "%RH", 67, 1320078429),
    ],
    ACTUATOR: [
        Record(f"{_DEVICE}:temp", "Cel", 23.1, None),
        Record(f"{_DEVICE}:heat", "/", 1, None),
        Record(f"{_DEVICE}:fan", "/", 0, None),
    ],
}
