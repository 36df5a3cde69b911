"""Lakes: a warehouse whose tables lie as Parquet files in a folder, and whose catalogue says which of them hold.

The catalogue is small, so that the one mechanism of this house stays: a writer works on a copy of the catalogue and puts it in
place in one step, and a reader who has opened a catalogue keeps its snapshot. Data files are only ever added meanwhile; those
that no catalogue knows any more are removed by the next writer. docs/chain.md tells how to run one.
"""
