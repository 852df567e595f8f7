"""The words that the forms on an instrument are known by: months, cities, streets, words of patents and of models.

phrases.py builds its patterns from these lists; a new word goes here. In a list blanks part the words, '_' is a blank
within one, a dot may be missing on the photo, and words are in capitals without accents, as fold (patterns.py) leaves
them. Common practice of the trade.
"""

from __future__ import annotations

MONTHS = (
    "JAN JANY JANUARY JANUAR JANVIER FEB FEBY FEBRUARY FEBRUAR FEVRIER FEVR MAR MARCH MARZ MAERZ MARS APR APL APRIL "
    "AVRIL AVR MAY MAI JUN JUNE JUNI JUIN JUL JULY JULI JUILLET AUG AUGUST AOUT SEP SEPT SEPTEMBER SEPTEMBRE OCT OKT "
    "OCTOBER OKTOBER OCTOBRE NOV NOVEMBER NOVEMBRE DEC DEZ DECEMBER DEZEMBER DECEMBRE"
)
"""Months with their short forms, in English, German and French."""

PATENT_WORDS = (
    "PAT PATS PAT_D PAT'D PAT.D PATENT PATENTS PATENTED PATENTE PATENTIERT BREVET BREVETE BREVETS REG REGD REG'D "
    "REGISTERED D.R.P D.R.G.M S.G.D.G DEPOSE"
)
"""Words and letters of patents and registered designs."""

CITIES = (
    "AMSTERDAM ANTWERP ANVERS ATLANTA BARCELONA BERLIN BORDEAUX BOSTON BRUSSELS BRUXELLES BUFFALO CALCUTTA CHICAGO "
    "COPENHAGEN DRESDEN DUBLIN LEIPZIG LIVERPOOL LONDON LYON MANCHESTER MELBOURNE MILAN MOSCOW MUNCHEN MUNICH "
    "NEW_ORLEANS NEW_YORK PARIS PHILADELPHIA PORTO SAN_FRANCISCO ST._LOUIS ST._PETERSBURG STOCKHOLM STUTTGART SYDNEY "
    "TURIN VIENNA WIEN"
)
"""Cities of exhibitions, as they stand before a year."""

HONORS = (
    "MEDAL MEDALS MEDAILLE MEDAILLES PRIZE PRIZES PREIS PRIX AWARD AWARDED AWARDS EXPOSITION EXHIBITION EXPO "
    "AUSSTELLUNG DIPLOMA DIPLOME GOLD SILVER FAIR CENTENNIAL FIRST SECOND PREMIER 1ST 2ND 3RD 1ER"
)
"""Words of medals, prizes and exhibitions."""

SINCE = (
    "EST ESTD EST'D EST.D ESTABD ESTABLISHED FOUNDED SINCE COPYRIGHT COPR ANNO SEIT DEPUIS GEGR GEGRUNDET FONDE FONDEE "
    "FUNDADA ©"
)
"""Words of founding and copyright."""

SERVICES = "TUNED REPAIRED RESTORED REBUILT REGULATED GESTIMMT REPARIERT ACCORDE REPARE"
"""What tuners and repairers write before a date."""

STREETS = "STREET ST AVENUE AVE AV ROAD RD SQUARE SQ LANE PLACE BOULEVARD BLVD TERRACE STRASSE STR GASSE PLATZ ALLEE"
"""Words that make a number before them an address."""

OCTAVES = "OCT OCTS OCTAVE OCTAVES OKT OKTAVEN"
"""Octaves and their short forms."""

SIZE_UNITS = "CM MM KG LB LBS OZ INCHES NOTES KEYS TASTEN TOUCHES STOPS"
"""Units of size and weight, and what a compass is counted in."""

MODEL_WORDS = "STYLE STILE MODEL MODELL MODELE MOD TYPE TYP SCALE CLASS FORM GRADE"
"""Words that name figures or letters as the model."""

SERIES_WORDS = "LOT HIRE CD CONCERT LOAN POOL STOCK INV INVOICE STACK MOTOR PUMP ROLL ACTION CASE RIM JOB REPAIR ORDER"
"""Words that name another series than the serials."""

_STOP = "AN AND BY CO DE DER DIE ET FOR IN INC LA LE LTD NEW NO NY OF ON OR SON ST THE TO UND USA"
STOP_WORDS = frozenset(_STOP.split())
"""Short words that are no model letters."""
