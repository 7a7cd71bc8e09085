"""What control units answer to the diagnostic services, read from the payload and made anew for a simulated car.

A payload is what ISO 15765-2 carries once its frames are joined: the service, then its data. One file each for live
data and freeze frames, codes, readiness, monitor results, information on the car, refusals, and the newer services of
SAE J1979-2.
"""
