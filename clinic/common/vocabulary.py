"""The words shared by all, each with its label. Pure: standard library only.

A member is its stored value; `.label` is what a person reads.
"""

from enum import StrEnum
from typing import Self


class Word(StrEnum):
    """A stored value with the label that a person reads."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        word = str.__new__(cls, value)
        word._value_ = value
        word.label = label
        return word


class Side(Word):
    LEFT = "left", "left"
    RIGHT = "right", "right"

    @property
    def other(self) -> "Side":
        return Side.RIGHT if self is Side.LEFT else Side.LEFT


class RegionSide(Word):
    """Side of a body region; the head, the neck and the genitals may lie in the midline."""

    LEFT = "left", "left"
    RIGHT = "right", "right"
    MIDLINE = "midline", "midline"


class Limb(Word):
    ARM = "arm", "arm"
    LEG = "leg", "leg"


class Region(Word):
    ARM = "arm", "arm"
    LEG = "leg", "leg"
    BREAST = "breast", "breast"
    TRUNK_UPPER = "trunk_upper", "upper trunk quadrant"
    TRUNK_LOWER = "trunk_lower", "lower trunk quadrant"
    HEAD_NECK = "head_neck", "head and neck"
    GENITAL = "genital", "genital"


class Involvement(Word):
    SWOLLEN = "swollen", "swollen"
    AT_RISK = "at_risk", "at risk"


class Basin(Word):
    """A node basin; ids follow the territory map without its side."""

    AXILLA = "axilla", "armpit"
    GROIN = "groin", "groin"
    CERVICAL = "cervical", "neck"
    SUPRACLAV = "supraclav", "collarbone hollow"


class Cause(Word):
    CANCER_TREATMENT = "cancer_treatment", "after cancer treatment"
    PRIMARY = "primary", "primary (hereditary)"
    VENOUS = "venous", "venous insufficiency"
    TRAUMA_SURGERY = "trauma_surgery", "after injury or other surgery"
    INFECTION = "infection", "after infection"
    OTHER = "other", "other or not yet known"


class NodeProcedure(Word):
    SENTINEL = "sentinel", "sentinel node biopsy"
    FULL = "full", "full node removal"


class RadiationField(Word):
    BREAST = "breast", "breast"
    CHEST_WALL = "chest_wall", "chest wall"
    AXILLA = "axilla", "armpit"
    SUPRACLAV = "supraclav", "collarbone hollow"
    NECK = "neck", "neck"
    PELVIS = "pelvis", "pelvis"
    GROIN = "groin", "groin"
    LIMB = "limb", "limb"


class Phase(Word):
    SURVEILLANCE = "surveillance", "surveillance"
    INTENSIVE = "intensive", "intensive"
    MAINTENANCE = "maintenance", "maintenance"
    DISCHARGED = "discharged", "discharged"


class Stage(Word):
    """ISL stage, lowest to highest; late II is a subclass of II."""

    ZERO = "0", "0"
    I = "I", "I"  # noqa: E741  (the stage is written so)
    II = "II", "II"
    LATE_II = "late_II", "late II"
    III = "III", "III"


class Sex(Word):
    """Sex used to choose the table of usual girths."""

    FEMALE = "female", "female"
    MALE = "male", "male"
    NOT_SAID = "not_said", "not stated"


class Posture(Word):
    SITTING = "sitting", "sitting"
    LYING = "lying", "lying"
    STANDING = "standing", "standing"


class Role(Word):
    FRONT_DESK = "front_desk", "front desk"
    THERAPIST = "therapist", "therapist"
    CLINIC_LEAD = "clinic_lead", "clinic lead"


class Precaution(Word):
    """A condition that may bar or change treatment; its effects live in `programmes.body`."""

    UNTREATED_INFECTION = "untreated_infection", "untreated infection, cellulitis or fever"
    ACUTE_CLOT = "acute_clot", "acute vein or lung clot"
    HEART_FAILURE = "heart_failure", "decompensated heart failure"
    KIDNEY_FAILURE = "kidney_failure", "acute kidney failure"
    LIVER_FAILURE = "liver_failure", "liver failure with fluid in the belly"
    CAVAL_OBSTRUCTION = "caval_obstruction", "obstructed superior vena cava"
    UNEXPLAINED_SWELLING = "unexplained_swelling", "new or sudden unexplained swelling"
    UNTREATED_TUBERCULOSIS = "untreated_tuberculosis", "untreated tuberculosis"
    ACTIVE_CANCER = "active_cancer", "active cancer"
    UNSTABLE_BLOOD_PRESSURE = "unstable_blood_pressure", "unstable high blood pressure"
    LOW_BLOOD_PRESSURE = "low_blood_pressure", "low blood pressure or faintness"
    UNSTABLE_ASTHMA = "unstable_asthma", "unstable asthma"
    CHEMOTHERAPY = "chemotherapy", "chemotherapy in course or low platelets"
    OVERACTIVE_THYROID = "overactive_thyroid", "overactive thyroid"
    CAROTID_SINUS = "carotid_sinus", "carotid sinus sensitivity"
    HEART_RHYTHM = "heart_rhythm", "heart rhythm disorder"
    CAROTID_DISEASE = "carotid_disease", "carotid narrowing, stroke or transient attack"
    VESSEL_DISEASE_OVER_60 = "vessel_disease_over_60", "vessel disease over the age of 60"
    NECK_MASS = "neck_mass", "neck mass, recent neck surgery or neck line"
    PREGNANCY = "pregnancy", "pregnancy"
    HEAVY_MENSTRUATION = "heavy_menstruation", "heavy or painful menstruation"
    AORTIC_ANEURYSM = "aortic_aneurysm", "abdominal aortic aneurysm"
    ABDOMINAL_SURGERY = "abdominal_surgery", "recent abdominal or pelvic surgery"
    BOWEL_DISEASE = "bowel_disease", "active bowel disease"
    BOWEL_OBSTRUCTION = "bowel_obstruction", "bowel obstruction"
    PELVIC_CLOT = "pelvic_clot", "pelvic clot, now or past"
    PELVIC_RADIATION_INJURY = "pelvic_radiation_injury", "radiation injury of bowel or bladder"
    SEIZURES = "seizures", "seizure disorder"
    ABDOMINAL_PAIN = "abdominal_pain", "unexplained abdominal pain"
    ARTERIAL_DISEASE = "arterial_disease", "arterial disease of the limb"
    SENSORY_LOSS = "sensory_loss", "severe loss of feeling in the limb"
    FRAGILE_CHEST_SKIN = "fragile_chest_skin", "fragile, open or irradiated chest skin"
    FRAGILE_LIMB_SKIN = "fragile_limb_skin", "fragile or open limb skin"
    DEVICE_UNDER_SKIN = "device_under_skin", "port, pacemaker or other device under the skin"


class LetterFrequency(Word):
    """How often a referrer wants a letter about a client."""

    MONTHLY = "monthly", "every month"
    QUARTERLY = "quarterly", "every three months"
    CHANGES = "changes", "only when something changes"
    NEVER = "never", "no letters"
