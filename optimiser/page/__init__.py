"""The bench page: the experiment's folder as a local web page, for clicking and for a phone.

It uses `optimiser` and `experiments` and computes nothing itself; nothing but the command line
imports it. Where each thing lives:

- `server` binds and serves, `app` puts the parts together, `guard` refuses what no browser of the
  owner would send, `visitors` knows sessions, access code and form tokens;
- `desk` is the open experiment: ledgers for requests, `work` for what takes long, `uploads` for
  files that wait to be saved, `told` for what was just done;
- `call` is a request as a room sees it, `forms` what was typed;
- `rooms` holds the table of all addresses, and one module a room.
"""
