#pragma once
/// Read-only access to one recording, live or closed, with its own connection. Not thread-safe; make one per
/// thread.
#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "server/pipeline/progress.hpp"
#include "server/pipeline/setup.hpp"
#include "server/record/read/description.hpp"
#include "shared/result.hpp"

namespace turnstone {

struct RecordingInfo {
    std::string id; ///< file name without its ending
    std::filesystem::path path;
    std::string name; ///< operator's name for it; may be empty
    std::string notes;
    bool archived = false; ///< put away by an operator
    std::string vehicles;  ///< comma-separated
    std::string version;   ///< of the Turnstone that wrote it
    std::int64_t t_start_ns = 0;
    std::int64_t t_end_ns = 0; ///< of the newest data
    std::int64_t utc_start_ns = 0;
    std::uint64_t file_bytes = 0;
    std::string ended;               ///< how it was closed, see meta in schema.sql
    bool closed = false;             ///< false: live, or left by a killed process
    bool repaired = false;           ///< closed by repair after a kill: the last moments may be missing
    std::int64_t layout = 0;         ///< of the file
    std::uint64_t inputs = 0;        ///< chunks and actions
    std::optional<Progress> derived; ///< of the pipeline that made the stored rows; empty: none stored, or layout 1
    std::uint64_t inputs_dropped = 0, bytes_dropped = 0; ///< that missed the file, see RecorderStatus
    std::uint64_t rows_dropped = 0;                      ///< derived rows left out
    std::string damage;                                  ///< empty: none; else what is wrong with the file
};

/// Columns of one table over a window. Not decimated: every row, with min = max = mean = its value.
/// Decimated: row i is a bin of count[i] rows, with the extremes and mean per column (NaN where no row has a
/// value), and t_ns is the bin's middle, kept inside the window. Column-major: value of column c in row i at
/// [c * rows + i].
struct SeriesBlock {
    std::size_t rows = 0;
    bool decimated = false;
    std::vector<std::int64_t> t_ns;
    std::vector<std::uint32_t> count;
    std::vector<double> min, max, mean;
};

struct SeriesQuery {
    TableId table;
    std::vector<std::size_t> columns; ///< indices into Table::columns, numbers only
    std::int64_t from_ns;             ///< inclusive
    std::int64_t to_ns;               ///< exclusive
    std::size_t points;               ///< budget: at most this many rows come back
};

struct FramePage {
    std::vector<FrameRecord> frames;
    std::vector<std::int64_t> ids;
    std::vector<std::vector<std::byte>> bytes; ///< link bytes of each frame, delimiter included; at most the first 1024
};

/// How far back `newest_frame` looks: some ten minutes of a busy radio.
inline constexpr std::int64_t kNewestFramesMax = 100'000;

struct EventPage {
    std::vector<Event> events;
    std::int64_t last_id = 0; ///< of the newest among them
    bool more = false;        ///< others follow
};

/// Columns of one table, numbers before texts.
struct ColumnChoice {
    TableId table;
    std::vector<std::size_t> columns; ///< indices into Table::columns
};

struct StreamedRow {
    std::size_t choice = 0; ///< which of the stream's
    std::int64_t t_ns = 0;
    std::span<const double> numbers = {}; ///< both valid until the next row
    std::span<const std::string> texts = {};
};

enum class ReadMode {
    whole,            ///< a file that is cut short is refused; damage further in ends the function that meets it
    as_far_as_it_goes ///< `inputs` gives every input that can be read
};

class RowStream;

class RecordingReader {
  public:
    [[nodiscard]] static Result<RecordingReader> open(const std::filesystem::path& path,
                                                      ReadMode mode = ReadMode::whole);
    RecordingReader(RecordingReader&&) noexcept;
    RecordingReader& operator=(RecordingReader&&) noexcept;
    ~RecordingReader();

    [[nodiscard]] RecordingInfo info();
    /// Empty: none found so far. When the file turns out to be damaged, functions below that return no Result give what
    /// they could read and leave the reason here (and in info().damage).
    [[nodiscard]] const std::string& damage() const;
    [[nodiscard]] const Schema& schema() const;
    /// The setup as viewers see it, from what can be understood of the stored texts, whichever version wrote them.
    [[nodiscard]] SetupDescription description();
    /// The setup from the stored texts, read as strictly as when a server starts, for processing again. A vehicle of
    /// `replacements` takes the place of the recording's vehicle of that name, whose texts are not read.
    [[nodiscard]] Result<PipelineSetup> setup(std::vector<VehicleSetup> replacements = {});
    [[nodiscard]] Result<SeriesBlock> series(const SeriesQuery& query);
    /// The last row of each table at or before `t_ns` (empty optional: none), numbers only: a cursor's
    /// readouts.
    [[nodiscard]] std::vector<std::optional<std::pair<std::int64_t, std::vector<double>>>> latest(std::int64_t t_ns);
    /// Rows of all tables in [from, to), oldest first, appended to `out` (rows, numbers, texts; `frame` is
    /// -1). Stops after `rows_max` rows, but never between rows of the same time. Returns the time up to
    /// which the window is complete.
    std::int64_t rows(std::int64_t from_ns, std::int64_t to_ns, std::size_t rows_max, Batch& out);
    /// For all rows of some columns, one after the other. The reader must stay where it is for as long as it lives.
    [[nodiscard]] RowStream stream(std::vector<ColumnChoice> choices);
    /// Events of [from, to) in order of t_ns; `ids` (from 1, in the order they were found) if asked for.
    [[nodiscard]] std::vector<Event> events(std::int64_t from_ns, std::int64_t to_ns,
                                            std::vector<std::int64_t>* ids = nullptr);
    /// A page of the events of [from, to) with id > `after_id`, in the order they were found.
    [[nodiscard]] EventPage event_page(std::int64_t from_ns, std::int64_t to_ns, std::int64_t after_id,
                                       std::size_t limit);
    /// A page of frames with id > after_id, with their bytes cut out of the recorded chunks.
    [[nodiscard]] FramePage frames(std::int64_t after_id, std::size_t limit, std::optional<LinkId> link);
    /// The newest frame of a link that gave a packet, or that gave none (a bad frame, or one that the dictionary cannot
    /// read): for `frames`, whose `after_id` is one less. Empty: none among the last kNewestFramesMax.
    [[nodiscard]] std::optional<std::int64_t> newest_frame(LinkId link, bool good);
    /// Calls back with every input in order, to feed a pipeline.
    void inputs(const std::function<void(const ChunkRecord&, std::span<const std::byte>)>& on_chunk,
                const std::function<void(const ActionRecord&)>& on_action);
    /// `count` inputs from `first` on, as many as there are.
    [[nodiscard]] Inputs inputs_of(std::uint64_t first, std::uint64_t count);
    /// Writes a consistent copy (SQLite online backup) to `target`, closed and as one file. Returns its size
    /// in bytes. The writer is not held up. `may_go_on` is asked between steps of a megabyte or so, with the bytes that
    /// are still to be written; its error ends the copy.
    [[nodiscard]] Result<std::uint64_t> snapshot(const std::filesystem::path& target,
                                                 const std::function<Result<void>(std::uint64_t)>& may_go_on = {});

  private:
    friend class RowStream;
    struct State;
    explicit RecordingReader(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

/// Rows in the order of their times, of equal ones in the order of the choices, read as they are asked for: memory does
/// not grow with the recording. While one lives, its reader sees the file as it was when the stream was made.
class RowStream {
  public:
    RowStream(RowStream&&) noexcept;
    RowStream& operator=(RowStream&&) noexcept;
    ~RowStream();

    /// Begins the rows of [from, to) again, of all choices or of one.
    void start(std::int64_t from_ns, std::int64_t to_ns, std::optional<std::size_t> only = {});
    /// False when there is none left, or when the file turns out to be damaged: RecordingReader::damage() says so.
    [[nodiscard]] bool next();
    [[nodiscard]] const StreamedRow& row() const noexcept { return row_; }

  private:
    friend class RecordingReader;
    struct Open;
    explicit RowStream(std::unique_ptr<Open> open);
    std::unique_ptr<Open> open_;
    StreamedRow row_;
};

} // namespace turnstone
