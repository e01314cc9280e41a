#include "server/record/reprocess.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "server/record/format/recording_id.hpp"
#include "server/record/read/catalogue.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_file.hpp"
#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kCommitBytes = 8u << 20;

/// Calls `on_batch` with what the pipeline makes of each stored input, and of the ticks up to the recording's
/// end.
template <class OnBatch>
void feed(RecordingReader& reader, Pipeline& pipeline, std::int64_t t_end_ns, OnBatch&& on_batch) {
    Batch batch;
    reader.inputs(
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            batch.clear();
            pipeline.chunk(chunk.link, chunk.t_rx_ns, chunk.utc_rx_ns, bytes, batch, chunk.carried);
            on_batch(batch);
        },
        [&](const ActionRecord& action) {
            batch.clear();
            pipeline.action(action.t_ns, action.action, batch);
            on_batch(batch);
        });
    batch.clear();
    pipeline.advance(t_end_ns, batch);
    on_batch(batch);
}

/// Stored frames, rows and events, each read in the order it was written, beside what the pipeline makes
/// again.
class Comparison {
  public:
    Comparison(const std::filesystem::path& path, const Schema& made)
        : database_(path, Database::Mode::read_only), tables_(read_tables(database_)) {
        if (tables_.size() != made.tables.size()) {
            differ("the recording has " + std::to_string(tables_.size()) + " tables, this version makes " +
                   std::to_string(made.tables.size()));
        }
        for (std::size_t i = 0; i < std::min(tables_.size(), made.tables.size()); ++i) {
            if (tables_[i].table.name != made.tables[i].name ||
                tables_[i].table.columns.size() != made.tables[i].columns.size()) {
                differ("table " + tables_[i].table.name + " is " + made.tables[i].name + " of " +
                       std::to_string(made.tables[i].columns.size()) + " columns in this version");
            }
        }
        comparable_ = report_.differences == 0;
        frames_ = Statement(database_, "SELECT id, " + std::string(kFrameColumns) + " FROM frame ORDER BY id");
        events_ = Statement(database_, "SELECT " + std::string(kEventColumns) + " FROM event ORDER BY id");
        for (const StoredTable& table : tables_)
            rows_.emplace_back(database_, "SELECT * FROM " + identifier(table.sql_name) + " ORDER BY id");
    }

    void compare(const Batch& batch) {
        report_.chunks += batch.chunks.size();
        report_.actions += batch.actions.size();
        if (!comparable_) return;
        const std::int64_t frame_id_base = frame_id_;
        for (const FrameRecord& frame : batch.frames) {
            ++report_.frames;
            ++frame_id_;
            if (!frames_.step()) {
                differ("frame " + std::to_string(frame_id_) + " is not stored");
                comparable_ = false;
                return;
            }
            if (frames_.integer(0) != frame_id_ || !(read_frame(frames_, 1) == frame))
                differ("frame " + std::to_string(frame_id_));
        }
        for (const RowRecord& row : batch.rows) {
            ++report_.rows;
            const std::int64_t frame_id = row.frame < 0 ? 0 : frame_id_base + 1 + row.frame;
            if (!compare_row(row, batch, frame_id)) return;
        }
        for (const Event& event : batch.events) {
            ++report_.events;
            if (!events_.step()) {
                differ("event " + event.key + " is not stored");
                comparable_ = false;
                return;
            }
            const Event stored = read_event(events_, 0);
            if (!(stored == event)) {
                differ("event " + stored.key + " at " + std::to_string(stored.t_ns) + " ns is " + event.key + " at " +
                       std::to_string(event.t_ns) + " ns");
            }
        }
    }

    VerifyReport finish() {
        if (comparable_) {
            if (frames_.step()) differ("frame " + std::to_string(frames_.integer(0)) + " is stored but not made again");
            if (events_.step()) differ("event " + events_.text(6) + " is stored but not made again");
            for (std::size_t i = 0; i < rows_.size(); ++i) {
                if (rows_[i].step()) {
                    differ("row " + std::to_string(rows_[i].integer(0)) + " of " + tables_[i].table.name +
                           " is stored but not made again");
                }
            }
        }
        return std::move(report_);
    }

  private:
    void differ(const std::string& what) {
        if (report_.differences++ == 0) report_.first_difference = what;
    }

    bool compare_row(const RowRecord& row, const Batch& batch, std::int64_t frame_id) {
        const Table& table = tables_[row.table].table;
        Statement& stored = rows_[row.table];
        if (!stored.step()) {
            differ("a row of " + table.name + " at " + std::to_string(row.t_ns) + " ns is not stored");
            comparable_ = false;
            return false;
        }
        const std::string place = "row " + std::to_string(stored.integer(0)) + " of " + table.name;
        if (stored.integer(1) != row.t_ns || stored.integer(2) != row.t_rx_ns ||
            (stored.is_null(3) ? 0 : stored.integer(3)) != frame_id) {
            differ(place + ": its times or its frame");
            return true;
        }
        const auto numbers = batch.numbers_of(row, table);
        const auto texts = batch.texts_of(row, table);
        for (std::size_t c = 0; c < table.columns.size(); ++c) {
            const int column = static_cast<int>(c) + 4;
            if (c >= table.number_count) {
                if (stored.text(column) != texts[c - table.number_count]) differ(place + ": " + table.columns[c].name);
                continue;
            }
            const double made = numbers[c];
            if (std::isnan(made) ? !stored.is_null(column) : stored.is_null(column) || stored.number(column) != made) {
                differ(place + ": " + table.columns[c].name + " is " + std::to_string(stored.number(column)) +
                       ", made again " + std::to_string(made));
            }
        }
        return true;
    }

    Database database_;
    std::vector<StoredTable> tables_;
    Statement frames_, events_;
    std::vector<Statement> rows_;
    std::int64_t frame_id_ = 0;
    bool comparable_ = true;
    VerifyReport report_;
};

} // namespace

Result<std::filesystem::path> reprocess(const std::filesystem::path& file,
                                        const std::vector<std::filesystem::path>& vehicle_folders,
                                        const std::filesystem::path& output_directory) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    for (const std::filesystem::path& folder : vehicle_folders) {
        std::vector<Problem> problems;
        auto vehicle = read_vehicle_folder(folder, problems);
        if (!vehicle) return fail(to_string(problems));
        const auto same = std::ranges::find(setup->vehicles, vehicle->dictionary.vehicle,
                                            [](const VehicleSetup& stored) { return stored.dictionary.vehicle; });
        if (same == setup->vehicles.end()) {
            return fail(folder.string() + ": is of vehicle " + vehicle->dictionary.vehicle + ", the recording has " +
                        reader->info().vehicles + "; give a folder of one of those");
        }
        *same = std::move(*vehicle);
    }
    const RecordingInfo info = reader->info();
    std::error_code no_folder;
    std::filesystem::create_directories(output_directory, no_folder);
    if (no_folder) {
        return fail(output_directory.string() + ": cannot be made a folder for the new recording (" +
                    no_folder.message() + "); give another one");
    }
    try {
        const std::string vehicle = setup->vehicles.empty() ? "" : setup->vehicles.front().dictionary.vehicle;
        const std::string id = make_recording_id(output_directory, info.utc_start_ns, vehicle);
        const std::filesystem::path path = output_directory / (id + std::string(kRecordingEnding));
        Pipeline pipeline(*setup, info.t_start_ns);
        create_recording(path, texts_of(*setup), pipeline.schema(), {info.t_start_ns, info.utc_start_ns, info.name, ""},
                         false);
        try {
            RecordingFile output(path, pipeline.schema(), false);
            output.set_meta("notes", info.notes);
            output.set_meta("reprocessed_from", info.id);
            std::size_t waiting_bytes = 0;
            feed(*reader, pipeline, info.t_end_ns, [&](const Batch& batch) {
                output.append(batch);
                waiting_bytes += batch.bytes.size() + batch.numbers.size() * sizeof(double);
                if (waiting_bytes >= kCommitBytes) {
                    output.commit();
                    waiting_bytes = 0;
                }
            });
            output.close("clean");
        } catch (const std::exception&) {
            std::filesystem::remove(path);
            std::filesystem::remove(path.string() + "-wal");
            std::filesystem::remove(path.string() + "-shm");
            throw;
        }
        make_single_file(path);
        if (!reader->damage().empty()) {
            return fail(file.string() + ": is damaged (" + reader->damage() + "); what could be read is in " +
                        path.string());
        }
        return path;
    } catch (const std::exception& failure) {
        return fail("reprocessing " + file.string() + ": " + failure.what());
    }
}

Result<VerifyReport> verify_recording(const std::filesystem::path& file) {
    auto reader = RecordingReader::open(file);
    if (!reader) return tl::unexpected(reader.error());
    const RecordingInfo info = reader->info();
    if (info.rows_dropped > 0 || info.batches_dropped > 0) {
        return fail(file.string() + ": " + std::to_string(info.batches_dropped) + " batches and " +
                    std::to_string(info.rows_dropped) +
                    " rows did not reach the file, so it cannot equal what was seen live");
    }
    const auto setup = reader->setup();
    if (!setup) return tl::unexpected(setup.error());
    try {
        Pipeline pipeline(*setup, info.t_start_ns);
        Comparison comparison(file, pipeline.schema());
        feed(*reader, pipeline, info.t_end_ns, [&](const Batch& batch) { comparison.compare(batch); });
        if (!reader->damage().empty()) return fail(file.string() + ": is damaged: " + reader->damage());
        return comparison.finish();
    } catch (const std::exception& failure) {
        return fail("verifying " + file.string() + ": " + failure.what());
    }
}

} // namespace turnstone
