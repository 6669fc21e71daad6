"""The exercises a new clinic begins with. Common practice, no source; the lead edits them."""

from typing import Any

# Name, position, what to do, dose, whom it suits.
EXERCISES = (
    ("Make a fist", "Prop your arm up.", "Close your hand slowly, then open it wide.",
     "10 times, twice a day.", "arm"),
    ("Shoulder rolls", "Sit tall.", "Roll both shoulders back in slow circles.",
     "10 times, twice a day.", "arm"),
    ("Bend your elbow", "Sit tall.", "Bend your elbow, then stretch it.",
     "10 times, twice a day.", "arm"),
    ("Pump your feet", "Lie with your legs up.", "Pull your toes up, then point them.",
     "20 times, twice a day.", "leg"),
    ("Slide your heel", "Lie on your back.", "Slide one heel up to your seat and back.",
     "10 times each, twice a day.", "leg"),
    ("Squeeze your thigh", "Lie on your back.", "Press your knee down, hold, and let go.",
     "10 times each, twice a day.", "leg"),
    ("Turn your head", "Sit tall.", "Look slowly to the left, then to the right.",
     "5 times each, twice a day.", "head_neck"),
    ("Open your mouth", "Sit tall.", "Open wide, then close. Do not strain.",
     "10 times, twice a day.", "head_neck"),
    ("Walk", "", "Walk at your own pace in your garment.", "15 minutes a day.", "leg"),
)  # fmt: skip


def add_exercises(exercise: Any) -> None:
    """Put the presets on an empty list; `exercise` is the model, as a migration knows it."""
    if exercise.objects.exists():
        return
    for name, position, how, dose, suits in EXERCISES:
        exercise.objects.create(name=name, position=position, how=how, dose=dose, suits=suits)
