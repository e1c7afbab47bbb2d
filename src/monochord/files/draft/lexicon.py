"""What laboratories call the columns of each kind of table, and how their files are named.

Words of several languages, split by blanks; a plus joins words that belong together. Common practice, no source.
"""

from __future__ import annotations

_POINT = (
    "point punkt punto pt target ziel cible mira objetivo bersaglio fiducial reflector reflektor "
    "prism prisma name marke nom nombre nome"
)
_BOLT = (
    "bolt schraube jack foot fuss pied pie piede verin vis boulon perno tornillo bullone vite "
    "martinetto gato stuetze name"
)
_MAGNET = "magnet magnete aimant iman element elemento item name nom nombre nome"
_TEMPERATURE = "temperature temperatur temp temperatura t"
_STATUS = "status code flag etat estado stato"
_MODE = "mode order ordnung n harmonic harmonische moden+nr ordre orden ordine modo mod"
_FREQUENCY = "frequency frequenz frequence frecuencia frequenza freq f drive drive+frequency anregung"
_DRIVE = (
    "drive drive+current wire+current drahtstrom antrieb antriebsstrom drive+i courant+fil "
    "corriente+hilo corrente+filo excitation"
)
_TIME = "time zeit uhrzeit clock datum date datetime timestamp heure temps hora fecha ora data zeitpunkt"

#: Role -> meaning -> words.
COLUMNS: dict[str, dict[str, str]] = {
    "magnets": {
        "name": _MAGNET,
        "kind": "kind type typ art tipo genre",
        "length": "length laenge longueur longitud lunghezza l",
        "strength": "strength gradient gradiente staerke feldstaerke force intensite fuerza intensidad forza "
        "coefficient koeffizient "
        "coeficiente coefficiente ableitung derivative k",
        "mass": "mass masse masa massa weight gewicht poids peso",
    },
    "targets": {
        "name": _POINT,
        "carrier": "carrier on sits+on traeger support sur en su auf porteur portador portatore located+on mounted+on",
    },
    "bolts": {
        "name": _BOLT,
        "direction": "direction acts+along pushes richtung sens direccion direzione wirkt wirkrichtung axis achse "
        "pousse empuja spinge",
        "thread_pitch": "pitch thread thread+pitch steigung gewindesteigung pas paso passo",
        "travel": "travel range hub weg verfahrweg course recorrido corsa",
        "one_sided": "one+sided onesided einseitig lift+off unilateral unilaterale abhebbar can+lift+off",
        "right_handed": "right+handed rechtsgewinde rechtsgaengig filet+droite rosca+derecha destrorsa",
    },
    "wire_ends": {
        "name": "nest end ende wire+end drahtende bout extremo capo name nom nombre nome " + _POINT,
        "along_beam": "along along+beam laengs strahl s",
    },
    "sightings": {
        "station": "station standpunkt stand estacion stazione instrument setup aufstellung",
        "target": _POINT,
        "horizontal": "hz horizontal h azimuth azimut richtung direction circle kreis hr horizontalwinkel "
        "horizontalrichtung dir "
        "orizzontale angle+horizontal",
        "vertical": "v vertical vertikal vz zenith zenit za zenitwinkel zenitdistanz elevation elev hoehenwinkel "
        "vertikalwinkel site "
        "zenitale verticale elevacion elevazione cenit cenital",
        "distance": "d distance dist sd strecke schraegstrecke schraegdistanz slope slope+distance distancia "
        "distanza distanz range s",
        "round": "round satz runde serie tour vuelta giro set",
        "status": _STATUS,
    },
    "wire_scans": {
        "scan": "scan run lauf fahrt serie balayage barrido scansione scan+nr nr",
        "magnet": _MAGNET,
        "moved": "moved plane axis achse ebene plan plano eje asse piano bewegt richtung",
        "magnet_current": "magnet+current current magnetstrom strom i courant corriente corrente i+magnet magnet",
        "mode": _MODE,
        "drive_frequency": _FREQUENCY,
        "drive_current": _DRIVE,
        "time": _TIME,
        "status": _STATUS,
    },
    "wire_sweeps": {
        "sweep": "sweep run lauf balayage barrido scansione",
        "mode": _MODE,
        "drive_frequency": _FREQUENCY,
        "drive_current": _DRIVE,
        "status": _STATUS,
    },
    "feet": {
        "bolt": _BOLT,
        "state": "state felt finding befund zustand etat estado stato constat sensation contact",
        "load": "load washer load+washer kraft last charge force carga carico fuerza forza",
    },
    "temperatures": {
        "sensor": "sensor fuehler capteur sonde sonda sensore thermometer name probe",
        "temperature": _TEMPERATURE,
        "status": _STATUS,
    },
    "turns": {"bolt": _BOLT, "turns": "turns turned umdrehungen umdrehung drehung tours vueltas giri gedreht u"},
    "check_moves": {
        "what": "what part thing was que che quoi cosa",
        "name": "name which welcher nom nombre nome",
        "direction": "direction richtung direccion direzione towards",
        "size": "size amount by betrag groesse taille tamano",
        "turns": "turns umdrehungen tours vueltas giri",
        "before": "before vorher avant antes prima",
        "after": "after nachher apres despues dopo",
    },
    "ride": {"time": _TIME, "temperature": _TEMPERATURE},
}

#: Words in the names of files.
FILES = {
    "magnets": "magnet magnets magnete aimants imanes elements elemente elementi",
    "targets": "target targets fiducials points punkte ziele cibles puntos punti nominal soll sollpunkte",
    "bolts": "bolt bolts jack jacks schrauben verins vis tornillos bulloni viti stuetzen",
    "wire_ends": "wire+ends ends drahtenden nests nester",
    "sightings": "tracker obs observations sightings survey beobachtungen vermessung messung visees observaciones "
    "osservazioni aufnahme",
    "wire_scans": "scan scans wire draht fil hilo filo",
    "wire_sweeps": "sweep sweeps resonance resonanz resonancia risonanza",
    "feet": "feet fuesse pieds pies piedi fuehlprobe touch",
    "temperatures": "temperatures temperatures temperaturen temperatur temperaturas temperature temp",
    "turns": "turns turned umdrehungen drehungen tours vueltas giri",
    "check_moves": "check+moves checks selftest probe",
    "ride": "logger ride fahrt transport shock road viaje viaggio strasse",
}


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


#: Words around a letter of an axis.
STAGE = _set("stage stages tisch schlitten platine mesa tavola table slide pos position chariot carro")
IN_PHASE = _set("in re real inphase phase0 realteil reel reale")
QUADRATURE = _set("quad quadrature im imag imaginary q quadratur imaginaer imagteil")
AMPLITUDE = _set("amp ampl amplitude amplitud ampiezza mag magnitude betrag")
PHASE = _set("phase ph phi fase phasenwinkel")

#: Words that tell what a vertical angle is.
ZENITH = _set("zenith zenit za zenitwinkel zenitdistanz cenit cenital zenitale zen vz")
ELEVATION = _set("elevation elev hoehenwinkel elevacion elevazione hoehe site altitude")


def matched(words: tuple[str, ...], known: str) -> float:
    """How well the words of a name fit known ones: share of them that are known together, 0 for none.

    >>> matched(("magnet", "current"), "magnet+current current"), matched(("magnet", "current"), "magnet")
    (1.1, 0.55)
    """
    best = 0
    for entry in known.split():
        wanted = entry.split("+")
        if all(w in words or f"{w}s" in words for w in wanted):
            best = max(best, len(wanted))
    return best / max(len(words), 1) + 0.05 * best


#: Every word that is known, for telling in which encoding a text makes sense.
KNOWN = frozenset(
    word
    for words in (*FILES.values(), *(w for role in COLUMNS.values() for w in role.values()))
    for entry in words.split()
    for word in entry.split("+")
    if len(word) > 2
)
