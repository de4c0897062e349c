"""Heat after heat: the record of a lining, what changed, how it wears, what is left.

From surveys to a forecast, and the module of each step:

1. a survey of one heat is stored, panel by panel: ``store``;
2. surveys with no repair between make a *spell* of wear, with the wear of every region
   in it and its variance: ``wear.series``, of a whole record (and cell by cell,
   ``wear.maps``) by ``wear.accumulate``;
3. what the errors of spells have in common: ``wear.survey_errors``;
4. how wear scatters beyond them, the wear rate, long and short, and its trend:
   ``wear.rates``;
5. how it lies round the wall: ``wear.ovality``; where it steps: ``changepoints.steps``;
6. panel rates shrunk towards their neighbours: ``forecast.smoothing``, parts of panels
   and spalling: ``forecast.subpanels``;
7. walls drawn and worn on: ``forecast.trajectories``;
8. heats until a limit: ``forecast.first_passage``, together in ``forecast.forecast``.

`study_wear` runs them all; ``assumptions`` holds the tuned numbers of 3 to 8.  Import
from the modules themselves: most are only wanted by one command.
"""
