"""Heat after heat: the record of a lining, what changed, how it wears, what is left.

From surveys to a forecast, and the module of each step:

1. a survey of one heat is stored, panel by panel: ``store``;
2. surveys with no repair between make a *spell* of wear: ``wear.spells``;
3. wear of every region in every spell, with its variance: ``wear.series``, of a whole
   record (and cell by cell, ``wear.maps``) by ``wear.accumulate``;
4. what the errors of spells have in common: ``wear.survey_errors``;
5. how wear scatters beyond them: ``wear.excess_variance``;
6. the wear rate, long and short, and its trend: ``wear.rates``;
7. how it lies round the wall: ``wear.ovality``; where it steps: ``changepoints.steps``;
8. panel rates shrunk towards their neighbours: ``forecast.smoothing``, parts of panels:
   ``forecast.subpanels``, spalls: ``forecast.spalling``;
9. walls drawn and worn on: ``forecast.trajectories``;
10. heats until a limit: ``forecast.first_passage``, together in ``forecast.forecast``.

`study` runs them all; ``assumptions`` holds the tuned numbers of 4 to 9.  Import from
the modules themselves: most are only wanted by one command.
"""
