"""The help of ``miner``, which is printed before any library is loaded."""

HELP = """\
Usage: miner [OPTIONS] [COMMAND] [ARGS]...

  Find which habits came before, or went with, high glucose in the records of
  one client.

  CLIENT is the folder of one client, and PRACTICE is the folder with all of
  them. To try it, use 'miner demo'. To do the whole job on a page, use 'miner
  open PRACTICE'. 'miner COMMAND --help' explains a command.

Options:
  --version  Show the version and exit.
  --debug    Show the details of a fault of the program.
  --help     Show this message and exit.

Get ready:
  demo        Write a practice of invented clients to try things out.
  check       Show what was read, how many days can be used, and what to do.
  map         Work out how to read a file with unknown columns.
  note        Add or correct a meal or a tag, or write a note.
  merge       Join tags or foods that mean the same.

Look:
  rank        List which habits came before, or went with, high glucose.
  why         Show the days or meals behind a pattern.
  day         Show one day of a client, or which clients to look at first.
  days        Show the table of days, with glucose measures and habits.
  meals       Show the table of meals, or compare similar meals.

Ask and keep:
  ask         Answer one question, or write it down before the records.
  keep        Keep a pattern, to see whether it holds on new days.
  follow      Show whether kept patterns held on new days.
  history     Show what was asked, kept and tested, in order.

Test:
  plan        Plan a test of one change with the client.
  result      Show what a finished test found.

Share:
  brief       Write a page to prepare, to show, to take home or for a doctor.
  export      Write the client's records to files to take away.

Practice:
  open        Open the page on which the whole job can be done.
  caseload    List all clients of a practice, and what they share.
  error-rate  Count how often luck alone would look like a clear pattern.
  generate    Write an invented practice of any size, to try the speed.

  Exit codes: 0 is finished, whatever was found. 1 is a fault of the program.
  2 is bad input or usage. 3 is too few days to rank. 130 is stopped at the
  keyboard.
"""
