"""Heat after heat: the record of a lining, what changed, how it wears, what is left.

Import from the modules themselves: most are only wanted by one command.
"""
