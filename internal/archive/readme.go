package archive

// readme tells a stranger what the archive holds; it does not depend on when
// or by whom it was written.
const readme = `This is the whole record of a workshop that keeps and rates marine
chronometers, as written by the program timeball.

What is inside
  entries.jsonl      Every entry of every logbook, one JSON object a line, in
                     the order in which they were written. This is the record.
  attachments.jsonl  What is known of each attached file: its SHA-256, name,
                     media type and size in bytes.
  attachments/       The attached files: photographs and recordings of sound.
                     Each is named by the SHA-256 of its bytes and is otherwise
                     as it was.
  comparisons/       For each instrument, its comparisons and events as CSV for
                     spreadsheets. They are drawn from entries.jsonl, long
                     texts cut, and are not read back.
  timeball.json      The name and version of this format, the counts, and the
                     size and SHA-256 of every other file here.

How to read an entry
  id        the name of the entry; its first ten letters are the time at which
            it was written (a ULID)
  subject   the instrument or the owner it is about: the id of the entry that
            holds the particulars ("entered", "owner")
  at        when it happened, UTC
  written   when it was written down, UTC
  by        who wrote it
  kind      what it tells, such as compared, wound, started, stopped
  fact      the fields of that kind; the unit is the end of the name:
            _s seconds, _h hours, _c degrees Celsius, _s_per_day seconds a
            day, _deg degrees, _ms thousandths of a second, _us millionths;
            sd in a name: one standard deviation, in that unit

  Nothing is ever changed or erased. An entry of the kind "struck out" says
  that another entry, which it names, was wrong, and why.

Signs
  error = dial minus UTC, in seconds: + is fast, - is slow
  rate  = change of error in a day: + is gaining, - is losing

To use it again, restore it with timeball. To be sure that it is whole, compare
the SHA-256 of each file with timeball.json. Do not add, take out or change
files in it: an archive that does not agree with timeball.json is refused.
`
