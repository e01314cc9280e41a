#include "server/record/verify.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "server/record/format/fixed_tables.hpp"
#include "server/record/stored_inputs.hpp"

namespace turnstone {

namespace {

/// Stored rows of a wide table, each read once, in the order they were written.
class StoredRows {
  public:
    StoredRows(Database& database, const std::string& sql) : row_(database, sql) {}
    /// False when all have been read.
    bool next() {
        more_ = more_ && row_.step();
        return more_;
    }
    [[nodiscard]] const Statement& row() const { return row_; }

  private:
    Statement row_;
    bool more_ = true;
};

bool same_columns(const Table& a, const Table& b) {
    return std::ranges::equal(
        a.columns, b.columns,
        [](const Column& of_a, const Column& of_b) { return of_a.name == of_b.name && of_a.is_text == of_b.is_text; });
}

/// Compares stored frames, rows and events with those the pipeline makes again.
class Comparison {
  public:
    Comparison(const std::filesystem::path& path, const Schema& made)
        : database_(path, Database::Mode::read_only), made_(made), rows_(made.tables.size()),
          frames_(database_, kFrameTable, "ORDER BY id") {
        pair_tables(read_tables(database_));
        if (database_.integer("PRAGMA user_version") == kLayoutVersion)
            events_.emplace(database_, kEventTable, "ORDER BY id");
        else
            report_.not_compared.emplace_back("events: an older layout words them differently");
    }

    void compare(const Batch& batch) {
        report_.chunks += batch.chunks.size();
        report_.actions += batch.actions.size();
        const std::int64_t frame_id_base = frame_id_;
        for (const FrameRecord& frame : batch.frames) compare_frame(frame);
        for (const RowRecord& row : batch.rows)
            if (rows_[row.table]) compare_row(row, batch, row.frame < 0 ? 0 : frame_id_base + 1 + row.frame);
        if (!events_) return;
        for (const Event& event : batch.events) compare_event(event);
    }

    VerifyReport finish() {
        if (frames_.step()) differ("frame " + std::to_string(frame_id_ + 1) + " is stored but not made again");
        for (std::size_t i = 0; i < rows_.size(); ++i)
            if (rows_[i] && rows_[i]->next()) differ(place(i) + " is stored but not made again");
        if (events_ && events_->step()) differ("event " + events_->row().event.key + " is stored but not made again");
        return std::move(report_);
    }

  private:
    void differ(const std::string& what) {
        if (report_.differences++ == 0) report_.first_difference = what;
    }

    void pair_tables(const std::vector<StoredTable>& stored) {
        for (const StoredTable& table : stored) {
            const auto made = std::ranges::find(made_.tables, table.table.name, &Table::name);
            if (made == made_.tables.end())
                report_.not_compared.push_back(table.table.name + ": this version makes no such table");
            else if (!same_columns(table.table, *made))
                report_.not_compared.push_back(table.table.name + ": has different columns in this version");
            else
                rows_[made->id].emplace(database_, "SELECT * FROM " + identifier(table.sql_name) + " ORDER BY id");
        }
        for (const Table& made : made_.tables)
            if (std::ranges::none_of(stored, [&](const StoredTable& table) { return table.table.name == made.name; }))
                report_.not_compared.push_back(made.name + ": is not in the recording");
    }

    [[nodiscard]] std::string place(std::size_t table) const {
        return "row " + std::to_string(rows_[table]->row().integer(0)) + " of " + made_.tables[table].name;
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

    void compare_event(const Event& made) {
        ++report_.events;
        if (!events_->step()) {
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
        const Statement& stored = rows_[made.table]->row();
        if (stored.integer(1) != made.t_ns || stored.integer(2) != made.t_rx_ns ||
            (stored.is_null(3) ? 0 : stored.integer(3)) != frame_id) {
            differ(place(made.table) + ": its times or its frame");
            return;
        }
        const auto numbers = batch.numbers_of(made, table);
        const auto texts = batch.texts_of(made, table);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            const int column = static_cast<int>(c) + 4;
            if (c >= table.number_count) {
                if (stored.text(column) != texts[c - table.number_count])
                    differ(place(made.table) + ": " + table.columns[c].name);
            } else if (std::isnan(numbers[c]) ? !stored.is_null(column)
                                              : stored.is_null(column) || stored.number(column) != numbers[c]) {
                differ(place(made.table) + ": " + table.columns[c].name + " is " +
                       std::to_string(stored.number(column)) + ", made again " + std::to_string(numbers[c]));
            }
        }
    }

    Database database_;
    const Schema& made_;
    std::vector<std::optional<StoredRows>> rows_; ///< by the made table's id; empty: not compared
    RowSelect<FrameRow> frames_;
    std::optional<RowSelect<EventRow>> events_;
    std::int64_t frame_id_ = 0;
    VerifyReport report_;
};

} // namespace

Result<VerifyReport> verify_recording(const std::filesystem::path& file, std::vector<VehicleSetup> vehicles) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const RecordingInfo info = reader->info();
    if (info.rows_dropped > 0 || info.batches_dropped > 0) {
        return fail(file.string() + ": " + std::to_string(info.batches_dropped) + " batches and " +
                    std::to_string(info.rows_dropped) +
                    " rows did not reach the file, so it cannot equal what was seen live");
    }
    const auto setup = reader->setup(std::move(vehicles));
    if (!setup) return tl::unexpected(setup.error());
    try {
        Pipeline pipeline(*setup, info.t_start_ns);
        Comparison comparison(file, pipeline.schema());
        feed_stored_inputs(*reader, pipeline, info.t_end_ns, [&](const Batch& batch) { comparison.compare(batch); });
        if (!reader->damage().empty()) return fail(file.string() + ": is damaged: " + reader->damage());
        return comparison.finish();
    } catch (const std::exception& failure) {
        return fail("verifying " + file.string() + ": " + failure.what());
    }
}

} // namespace turnstone
