"""The help of ``miner``, which is printed before any library is loaded."""

HELP = """\
Usage: miner [OPTIONS] [COMMAND] [ARGS]...

  Find which habits come before, or go with, one client's higher glucose.

  CLIENT is a folder with one client's records. Start with 'miner demo'.

Options:
  --version  Show the version and exit.
  --debug    Show the traceback of a fault.
  --help     Show this message and exit.

Commands:
  demo        Write an invented practice and rank one of its clients.
  check       What was read, what is wrong with it, which days can be used.
  map         Proposes how a file of unknown columns could be read.
  note        Adds or mends a meal or a tag; notes on days and sessions.
  merge       Tags or foods that mean the same, under one word.
  days        The daily table: outcomes and habits, a row a day.
  meals       The table by meal; similar meals with and without a habit.
  day         One day of a client; of a practice, whom to look at first.
  ask         One question, answered or written down before the records.
  rank        Which habits came before, or went with, higher glucose.
  why         Every day behind an entry, with the file and row of each value.
  error-rate  How often this would claim something untrue.
  brief       Pages: preparation, session, take-home, doctor.
  keep        Keep a hypothesis, to be judged on days that did not suggest it.
  follow      What new days say of what was kept.
  plan        An alternating test in one person.
  result      What an alternating test showed.
  history     The story of a client's questions.
  export      The client's records, to take away.
  caseload    Every client of a practice, and what they share.
  open        The practitioner's page, on this machine.
  generate    An invented practice of any size.

  Exit codes. 0: finished, whatever was found. 1: a fault of the program. 2:
  bad input or usage. 3: too few usable days to rank. 130: stopped at the
  keyboard.
"""
