#!/usr/bin/env python3
"""Writes histories.txt: 1,000 seeded histories and the memory states that the open reference implementation of
FSRS-6 gives for them.

    pip install fsrs==6.3.1 && python3 make_histories.py > histories.txt

The reference is `fsrs` 6.3.1 of the Open Spaced Repetition project (MIT licence, copyright 2022 Open Spaced
Repetition); only numbers that it computed are kept here. A line is the attempts in order, each as whole days since the one
before and its outcome (f failed, r recovered, c clean), then "=", the stability in days, the difficulty, and the
probability to hold 30 days after the last attempt.
"""

import random
from datetime import datetime, timedelta, timezone

from fsrs import Card, Rating, Scheduler

GRADES = {"f": Rating.Again, "r": Rating.Hard, "c": Rating.Good}


def main():
    rng = random.Random(1885)
    model = Scheduler(learning_steps=(), relearning_steps=(), enable_fuzzing=False)
    for _ in range(1000):
        card = Card(card_id=1)
        at = datetime(2026, 1, 1, tzinfo=timezone.utc)
        words = []
        for nth in range(rng.randint(1, 14)):
            gap = 0 if nth == 0 else rng.choice((0, 0, 1, 1, 2, 3, 5, 7, 14, 21, 60, 200))
            outcome = rng.choices("frc", weights=(2, 2, 6))[0]
            at += timedelta(days=gap)
            card, _ = model.review_card(card, GRADES[outcome], at)
            words.append(f"{gap}{outcome}")
        recall = model.get_card_retrievability(card, at + timedelta(days=30))
        print(" ".join(words), "=", f"{card.stability:.9g} {card.difficulty:.9g} {recall:.9g}")


main()
