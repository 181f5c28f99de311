"""The recorder's side: the log, the pure engine that concludes from it, and the records.

`logger` is a package here, so a log object is always called `log`.
"""
