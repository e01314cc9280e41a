// Drawing in a one-hour recording at 1 kHz (3.6 million rows of six columns), beside a plain SQL statement that gives
// the same bins by grouping the wide table's rows; and seeking there. One process, in turn.
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <random>
#include <string>
#include <vector>

#include <sqlite3.h>
#include <unistd.h>

#include "server/record/read/reader.hpp"
#include "server/record/write/recording_file.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/benchmarks/tables.hpp"

namespace {

using namespace turnstone;

using bench::kRowPeriod_ns;
using bench::kStart_ns;
constexpr std::int64_t kRows = 3'600'000;
constexpr std::size_t kColumns = 6;

void make_recording(const std::filesystem::path& path) {
    const Schema schema = bench::one_table(kColumns);
    create_recording(path, {}, schema, {kStart_ns, kStart_ns, "", ""}, false);
    RecordingFile file(path, schema, false);
    bench::RowMaker row(kColumns);
    Batch batch;
    for (std::int64_t i = 0; i < kRows; ++i) {
        const std::int64_t t_ns = kStart_ns + i * kRowPeriod_ns;
        batch.add_row(schema.tables.front(), t_ns, t_ns, row.next());
        if (batch.rows.size() == 20'000 || i + 1 == kRows) {
            file.append(batch, {});
            file.commit();
            batch.clear();
        }
    }
    file.close("clean");
}

/// The same window drawn by SQL alone, from the cells as they are stored and with the row ids told: the least that a
/// reader of the file could do. Says how many bins it found.
std::int64_t plain_query(sqlite3* database, std::int64_t from_ns, std::int64_t to_ns, std::int64_t points) {
    sqlite3_stmt* statement = nullptr;
    const char* sql = "SELECT (t_ns - ?1) / ?3 AS bin, count(*), min(channel_0), max(channel_0), avg(channel_0), "
                      "min(channel_3), max(channel_3), avg(channel_3) FROM stored_sanderling_imu "
                      "WHERE id BETWEEN ?4 AND ?5 AND t_ns >= ?1 AND t_ns < ?2 GROUP BY bin";
    sqlite3_prepare_v2(database, sql, -1, &statement, nullptr);
    sqlite3_bind_int64(statement, 1, from_ns - kStart_ns);
    sqlite3_bind_int64(statement, 2, to_ns - kStart_ns);
    sqlite3_bind_int64(statement, 3, std::max<std::int64_t>(1, (to_ns - from_ns) / points));
    sqlite3_bind_int64(statement, 4, (from_ns - kStart_ns) / kRowPeriod_ns);
    sqlite3_bind_int64(statement, 5, (to_ns - kStart_ns) / kRowPeriod_ns + 1);
    std::int64_t bins = 0;
    while (sqlite3_step(statement) == SQLITE_ROW) ++bins;
    sqlite3_finalize(statement);
    return bins;
}

double ms_of(const std::function<void()>& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

} // namespace

int main() {
    const auto directory = std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()));
    std::filesystem::create_directory(directory);
    const auto path = directory / "hour.sqlite";
    const double made_ms = ms_of([&] { make_recording(path); });
    std::printf("history: one hour at 1 kHz, %zu columns, %.0f MB, written at %.0f rows/s\n", kColumns,
                static_cast<double>(std::filesystem::file_size(path)) / 1e6,
                static_cast<double>(kRows) / made_ms * 1e3);
    auto reader = RecordingReader::open(path);
    sqlite3* plain = nullptr;
    if (!reader || sqlite3_open_v2(path.c_str(), &plain, SQLITE_OPEN_READONLY, nullptr) != SQLITE_OK) {
        std::fprintf(stderr, "the recording just made cannot be opened\n");
        return EXIT_FAILURE;
    }
    bool met = true;
    std::mt19937 random(2);
    for (const double window_s : {0.1, 1.0, 5.0, 12.0, 60.0, 600.0, 3600.0}) {
        for (const std::size_t points : {1000U, 8192U}) {
            const auto span_ns = static_cast<std::int64_t>(window_s * 1e9);
            std::vector<double> ours, theirs;
            for (int i = 0; i < 15; ++i) {
                const auto room = static_cast<std::uint64_t>(kRows * kRowPeriod_ns - span_ns);
                const std::int64_t from_ns =
                    kStart_ns + static_cast<std::int64_t>(room == 0 ? 0 : random() * 1000ULL % room);
                ours.push_back(ms_of([&] {
                    const auto block = reader->series({0, {0, 3}, from_ns, from_ns + span_ns, points});
                    met = met && block && block->rows <= points && block->rows > 0;
                }));
                if (i < 3) {
                    theirs.push_back(ms_of([&] {
                        met = plain_query(plain, from_ns, from_ns + span_ns, static_cast<std::int64_t>(points)) > 0 &&
                              met;
                    }));
                }
            }
            std::printf("  window %7.1f s, %4zu points: median %6.2f ms, worst %6.2f ms; grouping by SQL "
                        "alone %8.2f ms, ratio %.1f\n",
                        window_s, points, bench::quantile(ours, 0.5), bench::quantile(ours, 1),
                        bench::quantile(theirs, 0.5), bench::quantile(theirs, 0.5) / bench::quantile(ours, 0.5));
        }
    }
    std::vector<double> seeks;
    for (int i = 0; i < 200; ++i) {
        const std::int64_t at_ns = kStart_ns + static_cast<std::int64_t>(random() % kRows) * kRowPeriod_ns;
        seeks.push_back(ms_of([&] {
            met = met && reader->latest(at_ns).at(0).value().first == at_ns;
            Batch rows;
            reader->rows(at_ns, at_ns + 100'000'000, 1000, rows);
        }));
    }
    std::printf("  seek (readouts and the next 0.1 s of rows): median %.2f ms, p99 %.2f ms, worst %.2f ms\n",
                bench::quantile(seeks, 0.5), bench::quantile(seeks, 0.99), bench::quantile(seeks, 1));
    sqlite3_close(plain);
    std::filesystem::remove_all(directory);
    if (!met) std::fprintf(stderr, "an answer was wrong: the figures above count for nothing\n");
    return met ? EXIT_SUCCESS : EXIT_FAILURE;
}
