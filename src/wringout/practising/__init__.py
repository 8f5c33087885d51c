"""A machine with hidden causes to practise on: invented, answers the checks one chooses, keeps time."""
