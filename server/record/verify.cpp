#include "server/record/verify.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <utility>

#include "server/pipeline/events.hpp"
#include "server/record/format/fixed_tables.hpp"
#include "server/record/stored_inputs.hpp"

namespace turnstone {

namespace {

/// Stored rows of a series, each read once, in the order they were written.
class StoredRows {
  public:
    StoredRows(Database& database, StoredTable table) : table_(std::move(table)) {
        more_ = has_table(database, table_.rows_name());
        if (more_) row_ = Statement(database, "SELECT * FROM " + identifier(table_.rows_name()) + " ORDER BY id");
    }
    /// False when all have been read.
    bool next() {
        more_ = more_ && row_.step();
        return more_;
    }
    [[nodiscard]] std::int64_t id() const { return row_.integer(0); }
    /// Of all of them.
    [[nodiscard]] std::uint64_t count(Database& database) const {
        if (!has_table(database, table_.rows_name())) return 0;
        return static_cast<std::uint64_t>(
            std::max<std::int64_t>(0, database.integer("SELECT max(id) FROM " + identifier(table_.rows_name()))));
    }
    [[nodiscard]] bool holds_times(const RowRecord& made, std::int64_t frame_id, std::int64_t frame_t_rx_ns) const {
        if (row_.integer(1) != made.t_ns - table_.base_ns || (row_.is_null(3) ? 0 : row_.integer(3)) != frame_id)
            return false;
        if (table_.is_indexed) return row_.integer(2) == made.t_rx_ns;
        return row_.is_null(2) ? made.t_rx_ns == frame_t_rx_ns : row_.integer(2) == made.t_rx_ns - made.t_ns;
    }
    [[nodiscard]] bool holds_number(std::size_t column, double made) const {
        return holds(row_, place_of(column), table_.codes[column], made);
    }
    [[nodiscard]] double number(std::size_t column) const {
        return number_of(row_, place_of(column), table_.codes[column]);
    }
    [[nodiscard]] std::string text(std::size_t column) const { return row_.text(place_of(column)); }

  private:
    static int place_of(std::size_t column) { return static_cast<int>(column) + 4; }
    StoredTable table_;
    Statement row_;
    bool more_;
};

bool same_columns(const Table& a, const Table& b) {
    return std::ranges::equal(
        a.columns, b.columns,
        [](const Column& of_a, const Column& of_b) { return of_a.name == of_b.name && of_a.is_text == of_b.is_text; });
}

/// Compares stored frames, rows and events with those the pipeline makes again.
/// Of the deployment watch: it says when a parachute is due, and where an impact would be, by the newest prediction.
bool rests_on_predictions(const std::string& column) {
    return column.starts_with("impact_") || column.ends_with("_expected_in_s");
}

class Comparison {
  public:
    Comparison(const std::filesystem::path& path, const Schema& made)
        : database_(path, Database::Mode::read_only), made_(made), rows_(made.tables.size()),
          frames_(database_, kFrameTable, "ORDER BY id") {
        pair_tables(read_tables(database_));
        for (const Table& table : made.tables) {
            is_prediction_.push_back(table.name.ends_with("/estimate/ascent") ||
                                     table.name.ends_with("/estimate/landing"));
            is_deployment_.push_back(table.name.ends_with("/estimate/deployment"));
        }
        if (database_.integer("PRAGMA user_version") == kLayoutVersion)
            events_.emplace(database_, kEventTable, "ORDER BY id");
        else
            report_.not_compared.emplace_back("events: an older layout words them differently");
    }

    void compare(const Batch& batch) {
        const std::int64_t frame_id_base = frame_id_;
        for (const FrameRecord& frame : batch.frames) compare_frame(frame);
        for (const RowRecord& row : batch.rows)
            if (rows_[row.table]) compare_row(row, batch, row.frame < 0 ? 0 : frame_id_base + 1 + row.frame);
        if (!events_) return;
        for (const Event& event : batch.events) compare_event(event);
    }

    /// Rounds of predictions in the recording, of the vehicles together.
    [[nodiscard]] std::uint64_t stored_predictions() {
        std::map<int, std::uint64_t> rounds; // a round may give rows of both tables
        for (std::size_t i = 0; i < rows_.size(); ++i)
            if (is_prediction_[i] && rows_[i]) {
                std::uint64_t& most = rounds[made_.tables[i].vehicle];
                most = std::max(most, rows_[i]->count(database_));
            }
        std::uint64_t sum = 0;
        for (const auto& [vehicle, count] : rounds) sum += count;
        return sum;
    }

    VerifyReport finish() {
        if (frames_.step()) differ("frame " + std::to_string(frame_id_ + 1) + " is stored but not made again");
        for (std::size_t i = 0; i < rows_.size(); ++i)
            if (rows_[i] && rows_[i]->next()) differ(place(i) + " is stored but not made again");
        if (events_ && next_event()) differ("event " + events_->row().event.key + " is stored but not made again");
        return std::move(report_);
    }

  private:
    void differ(const std::string& what) {
        if (report_.differences++ == 0) report_.first_difference = what;
    }

    void pair_tables(std::vector<StoredTable> stored) {
        std::vector<std::string> names;
        for (StoredTable& table : stored) {
            names.push_back(table.table.name);
            const auto made = std::ranges::find(made_.tables, table.table.name, &Table::name);
            if (made == made_.tables.end())
                report_.not_compared.push_back(table.table.name + ": this version makes no such table");
            else if (!same_columns(table.table, *made))
                report_.not_compared.push_back(table.table.name + ": has different columns in this version");
            else
                rows_[made->id].emplace(database_, std::move(table));
        }
        for (const Table& made : made_.tables)
            if (std::ranges::find(names, made.name) == names.end())
                report_.not_compared.push_back(made.name + ": is not in the recording");
    }

    [[nodiscard]] std::string place(std::size_t table) const {
        return "row " + std::to_string(rows_[table]->id()) + " of " + made_.tables[table].name;
    }

    void compare_frame(const FrameRecord& made) {
        ++report_.frames;
        ++frame_id_;
        if (!frames_.step()) {
            differ("frame " + std::to_string(frame_id_) + " is not stored");
            return;
        }
        const FrameRow stored = frames_.row();
        if (stored.id != frame_id_ || !(stored.frame == made)) differ("frame " + std::to_string(frame_id_));
    }

    bool next_event() {
        while (events_->step())
            if (!follows_from_predictions(events_->row().event)) return true;
        return false;
    }

    void compare_event(const Event& made) {
        if (follows_from_predictions(made)) return;
        ++report_.events;
        if (!next_event()) {
            differ("event " + made.key + " is not stored");
            return;
        }
        const Event stored = events_->row().event;
        if (!(stored == made)) {
            differ("event " + stored.key + " at " + std::to_string(stored.t_ns) + " ns is " + made.key + " at " +
                   std::to_string(made.t_ns) + " ns");
        }
    }

    void compare_row(const RowRecord& made, const Batch& batch, std::int64_t frame_id) {
        ++report_.rows;
        const Table& table = made_.tables[made.table];
        if (!rows_[made.table]->next()) {
            differ("a row of " + table.name + " at " + std::to_string(made.t_ns) + " ns is not stored");
            return;
        }
        const StoredRows& stored = *rows_[made.table];
        const std::int64_t frame_t_rx_ns =
            made.frame < 0 ? 0 : batch.frames.at(static_cast<std::size_t>(made.frame)).t_rx_ns;
        if (!stored.holds_times(made, frame_id, frame_t_rx_ns)) {
            differ(place(made.table) + ": its times or its frame");
            return;
        }
        const auto numbers = batch.numbers_of(made, table);
        const auto texts = batch.texts_of(made, table);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            if (c >= table.number_count) {
                if (stored.text(c) != texts[c - table.number_count])
                    differ(place(made.table) + ": " + table.columns[c].name);
            } else if ((std::isnan(numbers[c]) && is_prediction_[made.table]) || // of a round that was not flown again
                       (is_deployment_[made.table] && rests_on_predictions(table.columns[c].name)) ||
                       table.columns[c].from_predictions) {
                continue;
            } else if (!stored.holds_number(c, numbers[c])) {
                differ(place(made.table) + ": " + table.columns[c].name + " is " + std::to_string(stored.number(c)) +
                       ", made again " + std::to_string(numbers[c]));
            }
        }
    }

    Database database_;
    const Schema& made_;
    std::vector<bool> is_prediction_; ///< by the made table's id; this and the next
    std::vector<bool> is_deployment_;
    std::vector<std::optional<StoredRows>> rows_; ///< by the made table's id; empty: not compared
    RowSelect<FrameRow> frames_;
    std::optional<RowSelect<EventRow>> events_;
    std::int64_t frame_id_ = 0;
    VerifyReport report_;
};

} // namespace

Result<VerifyReport> verify_recording(const std::filesystem::path& file, std::vector<VehicleSetup> vehicles,
                                      const std::function<void(double)>& on_progress) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const RecordingInfo info = reader->info();
    if (info.rows_dropped > 0 || info.inputs_dropped > 0) {
        return fail(file.string() + ": " + std::to_string(info.bytes_dropped) + " received bytes and " +
                    std::to_string(info.rows_dropped) +
                    " rows did not reach the file, so it cannot equal what was seen live");
    }
    const auto setup = reader->setup(std::move(vehicles));
    if (!setup) return tl::unexpected(setup.error());
    if (!is_plausible_start(info.t_start_ns)) return fail(file.string() + ": is damaged: its start cannot be true");
    try {
        Pipeline pipeline(*setup, info.t_start_ns);
        Comparison comparison(file, pipeline.schema());
        pipeline.fly_one_prediction_in(verified_one_in(comparison.stored_predictions()));
        VerifyReport fed;
        // Of inputs that came last nothing may be stored yet: a copy of a live recording, or after a kill.
        bool comparing = info.derived || info.layout < kLayoutVersion;
        const auto compare = [&](const Batch& batch) {
            if (!comparing) return;
            comparison.compare(batch);
            if (!info.derived || pipeline.progress().inputs < info.derived->inputs) return;
            Batch last;
            pipeline.advance(plausible_progress_ns(*info.derived, pipeline), last);
            comparison.compare(last);
            comparing = false;
        };
        const std::string damage = feed_stored_inputs(
            *reader, kAllInputs, pipeline, info.t_end_ns,
            [&](const Inputs& input) {
                fed.chunks += input.chunks.size();
                fed.actions += input.actions.size();
                if (on_progress)
                    on_progress(static_cast<double>(fed.chunks + fed.actions) / static_cast<double>(info.inputs));
            },
            compare);
        if (!reader->damage().empty()) return fail(file.string() + ": is damaged: " + reader->damage());
        if (!damage.empty()) return fail(file.string() + ": is damaged: " + damage);
        VerifyReport report = comparison.finish();
        report.chunks = fed.chunks;
        report.actions = fed.actions;
        return report;
    } catch (const std::exception& failure) {
        return fail("verifying " + file.string() + ": " + failure.what());
    }
}

} // namespace turnstone
