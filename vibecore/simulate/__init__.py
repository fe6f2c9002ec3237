"""Simulated cars with known truth: a physical model, kept apart from the code that reads recordings.

draw   a sound car at random            faults  a fault laid on it
crank, vibration  what it does          phone   what a taped-on phone writes down
job    recordings of one car in several conditions, with the truth    writing  ... as files    demo
recordings/"""

from vibecore.simulate.car import Car
from vibecore.simulate.draw import draw_car
from vibecore.simulate.faults import CAUSES, add_fault
from vibecore.simulate.job import SimulatedJob, SimulatedRecording, simulate_job, simulate_recording
from vibecore.simulate.phone import Phone, draw_phone
from vibecore.simulate.truth import Truth
from vibecore.simulate.writing import write_job

__all__ = [
    "CAUSES",
    "Car",
    "Phone",
    "SimulatedJob",
    "SimulatedRecording",
    "Truth",
    "add_fault",
    "draw_car",
    "draw_phone",
    "simulate_job",
    "simulate_recording",
    "write_job",
]
