// The recorder beside a plain SQLite loop that inserts the same rows and chunks with the same pragmas and the
// same transactions, but no queue, no thread, no index on time and no rollups. One process, in turn; the
// median of several runs each.
#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include <sqlite3.h>
#include <unistd.h>

#include "server/record/write/recorder.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/tables.hpp"

namespace {

using namespace turnstone;

constexpr std::size_t kRowsPerBatch = 20;
constexpr std::size_t kBatches = 8000; // long enough that making and closing the file hardly counts
constexpr std::size_t kColumns = 24;
constexpr std::size_t kChunkBytes = 200;
/// The recorder commits every 100 ms of wall time; the plain loop keeps the same pace.
constexpr auto kCommitInterval = std::chrono::milliseconds(100);

/// A chunk, and what a pipeline made of it.
struct Piece {
    std::shared_ptr<const Inputs> inputs;
    std::shared_ptr<const Batch> batch;
};

std::vector<Piece> make_pieces(const Table& table) {
    bench::RowMaker row(kColumns);
    std::vector<Piece> pieces;
    std::int64_t t_ns = bench::kStart_ns;
    for (std::size_t b = 0; b < kBatches; ++b) {
        auto inputs = std::make_shared<Inputs>();
        auto batch = std::make_shared<Batch>();
        inputs->bytes.resize(kChunkBytes);
        inputs->chunks.push_back({.input = b,
                                  .link = 0,
                                  .t_rx_ns = t_ns,
                                  .utc_rx_ns = t_ns,
                                  .stream_offset = b * kChunkBytes,
                                  .carried = false,
                                  .bytes = {0, kChunkBytes}});
        for (std::size_t r = 0; r < kRowsPerBatch; ++r) {
            t_ns += bench::kRowPeriod_ns;
            batch->add_row(table, t_ns, t_ns, row.next());
        }
        pieces.push_back({std::move(inputs), std::move(batch)});
    }
    return pieces;
}

void check(bool ok, sqlite3* database) {
    if (!ok) {
        std::fprintf(stderr, "plain SQLite: %s\n", sqlite3_errmsg(database));
        std::exit(1);
    }
}

void plain_loop(const std::filesystem::path& path, const std::vector<Piece>& pieces, bool synced) {
    sqlite3* database = nullptr;
    check(sqlite3_open(path.c_str(), &database) == SQLITE_OK, database);
    const auto execute = [database](const std::string& sql) {
        check(sqlite3_exec(database, sql.c_str(), nullptr, nullptr, nullptr) == SQLITE_OK, database);
    };
    execute("PRAGMA journal_mode = WAL");
    execute(synced ? "PRAGMA synchronous = FULL" : "PRAGMA synchronous = NORMAL");
    std::string columns, places;
    for (std::size_t c = 0; c < kColumns; ++c) {
        columns += ", channel_" + std::to_string(c) + " REAL";
        places += ", ?";
    }
    execute("CREATE TABLE imu (id INTEGER PRIMARY KEY, t_ns INTEGER, t_rx_ns INTEGER, frame INTEGER" + columns + ")");
    execute("CREATE TABLE chunk (input INTEGER PRIMARY KEY, link INTEGER, t_rx_ns INTEGER, utc_rx_ns INTEGER, "
            "stream_offset INTEGER, carried INTEGER, bytes BLOB)");
    sqlite3_stmt* row_insert = nullptr;
    sqlite3_stmt* chunk_insert = nullptr;
    const std::string row_sql = "INSERT INTO imu VALUES (NULL, ?, ?, NULL" + places + ")";
    check(sqlite3_prepare_v2(database, row_sql.c_str(), -1, &row_insert, nullptr) == SQLITE_OK, database);
    check(sqlite3_prepare_v2(database, "INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?)", -1, &chunk_insert, nullptr) ==
              SQLITE_OK,
          database);
    execute("BEGIN");
    auto began = std::chrono::steady_clock::now();
    for (const auto& [inputs, batch] : pieces) {
        for (const ChunkRecord& chunk : inputs->chunks) {
            sqlite3_bind_int64(chunk_insert, 1, static_cast<sqlite3_int64>(chunk.input));
            sqlite3_bind_int64(chunk_insert, 2, chunk.link);
            sqlite3_bind_int64(chunk_insert, 3, chunk.t_rx_ns);
            sqlite3_bind_int64(chunk_insert, 4, chunk.utc_rx_ns);
            sqlite3_bind_int64(chunk_insert, 5, static_cast<sqlite3_int64>(chunk.stream_offset));
            sqlite3_bind_int64(chunk_insert, 6, chunk.carried);
            sqlite3_bind_blob(chunk_insert, 7, inputs->bytes.data(), static_cast<int>(inputs->bytes.size()),
                              SQLITE_STATIC);
            check(sqlite3_step(chunk_insert) == SQLITE_DONE, database);
            sqlite3_reset(chunk_insert);
        }
        for (const RowRecord& row : batch->rows) {
            sqlite3_bind_int64(row_insert, 1, row.t_ns);
            sqlite3_bind_int64(row_insert, 2, row.t_rx_ns);
            for (std::size_t c = 0; c < kColumns; ++c)
                sqlite3_bind_double(row_insert, static_cast<int>(c) + 3, batch->numbers[row.numbers_offset + c]);
            check(sqlite3_step(row_insert) == SQLITE_DONE, database);
            sqlite3_reset(row_insert);
        }
        if (std::chrono::steady_clock::now() - began >= kCommitInterval) {
            execute("COMMIT");
            execute("BEGIN");
            began = std::chrono::steady_clock::now();
        }
    }
    execute("COMMIT");
    sqlite3_finalize(row_insert);
    sqlite3_finalize(chunk_insert);
    sqlite3_close(database);
}

} // namespace

int main() {
    const auto directory = std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()));
    const Schema schema = bench::one_table(kColumns);
    const auto pieces = make_pieces(schema.tables.front());
    PipelineSetup setup;
    setup.links.push_back({"radio", "file:bench", 0});
    std::size_t rows_lost = 0;
    double commit_ms_max = 0;
    for (const bool synced : {true, false}) {
        bench::Race race;
        const auto ours = race.add("recorder", [&] {
            std::filesystem::remove_all(directory);
            std::filesystem::create_directory(directory);
            Recorder recorder({.directory = directory,
                               .commit_interval_ms = 100,
                               .sync_every_commit = synced,
                               .queue_bytes_max = 1u << 30},
                              setup);
            recorder.begin(
                schema, {.t_start_ns = bench::kStart_ns, .utc_start_ns = bench::kStart_ns, .name = "", .continues = ""},
                bench::kStart_ns);
            for (std::size_t i = 0; i < pieces.size(); ++i) {
                recorder.push(pieces[i].inputs);
                recorder.push(pieces[i].batch, {i + 1, bench::kStart_ns});
            }
            recorder.flush(60'000);
            rows_lost += kBatches * kRowsPerBatch - recorder.status().rows_written;
            commit_ms_max = std::max(commit_ms_max, recorder.status().commit_ms_max);
        });
        const auto plain = race.add("plain", [&] {
            std::filesystem::remove_all(directory);
            std::filesystem::create_directory(directory);
            plain_loop(directory / "plain.sqlite", pieces, synced);
        });
        race.run(5);
        const double rows = static_cast<double>(kBatches * kRowsPerBatch);
        std::printf("record, synchronous=%s: %.0f rows/s of %zu REAL columns (spread %.0f %%), plain SQLite "
                    "loop %.0f rows/s "
                    "(spread %.0f %%), ratio %.2f, slowest commit %.1f ms\n",
                    synced ? "FULL" : "NORMAL", rows / race.median_s(ours), kColumns, race.spread_percent(ours),
                    rows / race.median_s(plain), race.spread_percent(plain), race.median_s(plain) / race.median_s(ours),
                    commit_ms_max);
    }
    std::filesystem::remove_all(directory);
    if (rows_lost > 0) {
        std::fprintf(stderr, "%zu rows did not reach the file: the figures above count for nothing\n", rows_lost);
        return 1;
    }
    return 0;
}
