"""Simulated cars with known truth: a physical model, kept apart from the code that reads recordings.

car, draw, calm       a car as data, and a sound one at random that nobody complains of
fault, faults, felt   a fault laid on it, and whether it can be felt
physics, crank, vibration   what it does
phone, recording      what a taped-on phone writes down of it, and what is true
workshop, job         what is recorded of one car in several conditions, and told of it
writing, demo         ... as files, and the jobs in recordings/
"""

from vibecore.simulate.car import Car
from vibecore.simulate.draw import draw_car
from vibecore.simulate.faults import CAUSES, add_fault
from vibecore.simulate.job import SimulatedJob, Wanted, simulate_job
from vibecore.simulate.phone import Phone, draw_phone
from vibecore.simulate.recording import SimulatedRecording, simulate_recording
from vibecore.simulate.truth import Truth
from vibecore.simulate.writing import write_job

__all__ = [
    "CAUSES",
    "Car",
    "Phone",
    "SimulatedJob",
    "SimulatedRecording",
    "Truth",
    "Wanted",
    "add_fault",
    "draw_car",
    "draw_phone",
    "simulate_job",
    "simulate_recording",
    "write_job",
]
