"""What the sightings so far say about the suspects, and which trip to the panel would say most next.

Belongs here: belief over suspects with "something not in this model" always among them, belief over repairs,
contradictions in words, the worth of a test for its time and walking, when to stop and confirm.
Not here: how noisy a single sighting is (evidence), whether a test is safe (safety), an order people wrote down (trees).
Knows: evidence, faults, solve, circuit, text. Pure: no clock, no dice, no disk, no terminal.
"""
