"""Heat after heat: the record of a lining, what changed, how it wears, how long it lasts.

Import from the modules themselves: most are only wanted by one command.
"""
