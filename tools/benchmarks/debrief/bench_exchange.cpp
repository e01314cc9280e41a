// Three hours of a recording into each format, beside the bare component that writes the same values from the same
// file: an SQLite loop over the stored rows with std::to_chars or the format's own library. A log of packets read for
// import, beside the bare parser. And jumps in the three hours. Memory is what the process needs at most while it
// exports. Prints Markdown; what is outside a limit is bold.
#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <random>
#include <string>
#include <vector>

#include <hdf5.h>
#include <nlohmann/json.hpp>
#include <unistd.h>
#include <zlib.h>

#include "protocol/reading/frame_reader.hpp"
#include "server/exchange/export.hpp"
#include "server/exchange/import/log/log_index.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_file.hpp"
#include "tools/benchmarks/frames.hpp"
#include "tools/benchmarks/measure.hpp"
#include "tools/trials/cells.hpp"
#include "tools/trials/debrief/debrief_demand.hpp"

namespace {

using namespace turnstone;
using trials::Bounded;
using trials::Sheet;
using trials::text;

constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;
constexpr double kRatioLeast = 0.5;   ///< of the bare writer's speed
constexpr double kMemoryMost_mb = 64; ///< more than before
constexpr double kPacketsLeast_m = 1; ///< million packets a second
constexpr double kSeekMost_ms = 100;
constexpr int kRounds = 4;

[[noreturn]] void fail_with(const std::string& why) {
    std::fprintf(stderr, "exchange: %s\n", why.c_str());
    std::exit(1);
}

/// Inertial samples at 100 Hz and fixes at 5 Hz, as a dictionary would give them: steps of a raw value.
Schema schema() {
    Schema out;
    const auto table = [&](const std::string& name, double period_s, const std::vector<std::string>& columns) {
        Table one{.id = static_cast<TableId>(out.tables.size()),
                  .name = name,
                  .title = name,
                  .period_s = period_s,
                  .columns = {}};
        for (const std::string& column : columns) {
            one.columns.push_back({.name = column, .title = column, .unit = "m"});
            one.columns.back().step = 0.005;
        }
        one.number_count = columns.size();
        out.tables.push_back(std::move(one));
    };
    table("kite/imu", 0.01, {"accel_x", "accel_y", "accel_z", "rate_x", "rate_y", "rate_z"});
    table("kite/fix", 0.2, {"latitude_deg", "longitude_deg", "altitude_msl_m"});
    for (Column& column : out.tables[1].columns) column.step = 1.0 / (1 << 23);
    return out;
}

void record(const std::filesystem::path& path, double hours) {
    const Schema tables = schema();
    create_recording(path, {{}, {}, {"{}"}, {}}, tables,
                     {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""}, false);
    {
        RecordingFile file(path, tables, false);
        std::mt19937 random(1);
        std::normal_distribution<double> noise(0, 400);
        Batch batch;
        const auto steps = static_cast<std::int64_t>(hours * 360'000);
        for (std::int64_t i = 0; i < steps; ++i) {
            const std::int64_t t_ns = kStart_ns + i * 10'000'000;
            std::array<double, 6> values{};
            for (double& value : values) value = std::round(noise(random)) * 0.005;
            batch.add_row(tables.tables[0], t_ns, t_ns, values);
            if (i % 20 == 0) {
                const auto at = [&](double degrees) { return std::round(degrees * (1 << 23)) / (1 << 23); };
                const std::array<double, 3> fix{at(-21.38 + 1e-6 * static_cast<double>(i)),
                                                at(23.17 + 1e-7 * noise(random)), at(968 + 0.1 * noise(random))};
                batch.add_row(tables.tables[1], t_ns, t_ns, fix);
            }
            if (batch.rows.size() < 4096 && i + 1 < steps) continue;
            file.append(batch, {0, t_ns});
            file.commit();
            batch.clear();
        }
        file.close("clean");
    }
    if (!make_single_file(path)) fail_with("the recording is still open");
}

/// Of the memory that was resident at most.
void forget_peak() {
    std::ofstream("/proc/self/clear_refs") << "5";
}
double peak_bytes() {
    std::ifstream status("/proc/self/status");
    std::string line;
    while (std::getline(status, line))
        if (line.starts_with("VmHWM:")) return 1024 * std::strtod(line.c_str() + 6, nullptr);
    fail_with("/proc/self/status does not say what memory was used");
}

/// What one writes with: a buffer and the C library.
class BareFile {
  public:
    explicit BareFile(const std::filesystem::path& path) : file_(std::fopen(path.c_str(), "wb")) {
        if (file_ == nullptr) fail_with("a file cannot be made");
        std::setvbuf(file_, nullptr, _IOFBF, 256 << 10);
    }
    ~BareFile() { std::fclose(file_); }
    BareFile(const BareFile&) = delete;
    BareFile& operator=(const BareFile&) = delete;
    void put(std::string_view text) { std::fwrite(text.data(), 1, text.size(), file_); }
    void number(double value) {
        std::array<char, 32> text{};
        put({text.data(), std::to_chars(text.data(), text.data() + text.size(), value).ptr});
    }

  private:
    std::FILE* file_;
};

/// The stored rows of a table as they lie in the file: cells that are whole numbers count steps.
void each_row(const std::filesystem::path& path, const Table& table,
              const std::function<void(std::int64_t, std::span<const double>)>& on_row) {
    Database database(path, Database::Mode::read_only);
    std::string name = "stored_" + table.name;
    std::ranges::replace(name, '/', '_');
    std::string sql = "SELECT t_ns";
    for (const Column& column : table.columns) sql += ", " + column.name;
    Statement rows(database, sql + " FROM " + name + " ORDER BY id");
    std::vector<double> values(table.columns.size());
    while (rows.step()) {
        for (std::size_t c = 0; c < values.size(); ++c) {
            const int place = static_cast<int>(c) + 1;
            values[c] = rows.is_integer(place) ? table.columns[c].step * static_cast<double>(rows.integer(place))
                                               : rows.number(place);
        }
        on_row(rows.integer(0), values);
    }
}

void bare_lines(const std::filesystem::path& recording, const std::filesystem::path& target, bool is_json) {
    BareFile out(target);
    for (const Table& table : schema().tables)
        each_row(recording, table, [&](std::int64_t t_ns, std::span<const double> values) {
            out.put(is_json ? "{\"series\":\"" + table.name + "\",\"t_s\":" : table.name + ",");
            out.number(static_cast<double>(t_ns) * 1e-9);
            for (std::size_t c = 0; c < values.size(); ++c) {
                out.put(is_json ? ",\"" + table.columns[c].name + "\":" : std::string(","));
                out.number(values[c]);
            }
            out.put(is_json ? "}\n" : "\r\n");
        });
}

void bare_places(const std::filesystem::path& recording, const std::filesystem::path& target, const char* format) {
    BareFile out(target);
    std::array<char, 200> text{};
    each_row(recording, schema().tables[1], [&](std::int64_t t_ns, std::span<const double> values) {
        out.put({text.data(), static_cast<std::size_t>(std::snprintf(text.data(), text.size(), format, values[1],
                                                                     values[0], values[2], static_cast<long>(t_ns)))});
    });
}

void bare_array(const std::filesystem::path& recording, const std::filesystem::path& target) {
    BareFile out(target);
    uLong crc = crc32(0, nullptr, 0);
    for (const Table& table : schema().tables)
        each_row(recording, table, [&](std::int64_t t_ns, std::span<const double> values) {
            crc = crc32(crc, reinterpret_cast<const Bytef*>(values.data()), static_cast<uInt>(values.size_bytes()));
            out.put({reinterpret_cast<const char*>(&t_ns), sizeof t_ns});
            out.put({reinterpret_cast<const char*>(values.data()), values.size_bytes()});
        });
}

void bare_hdf5(const std::filesystem::path& recording, const std::filesystem::path& target) {
    constexpr hsize_t kChunk = 8192;
    const hid_t file = H5Fcreate(target.c_str(), H5F_ACC_TRUNC, H5P_DEFAULT, H5P_DEFAULT);
    for (const Table& table : schema().tables) {
        const hsize_t none = 0, any = H5S_UNLIMITED;
        const hid_t space = H5Screate_simple(1, &none, &any), how = H5Pcreate(H5P_DATASET_CREATE);
        H5Pset_chunk(how, 1, &kChunk);
        std::vector<hid_t> sets;
        std::vector<std::vector<double>> values(table.columns.size());
        for (const Column& column : table.columns)
            sets.push_back(H5Dcreate2(file, column.name.c_str(), H5T_IEEE_F64LE, space, H5P_DEFAULT, how, H5P_DEFAULT));
        hsize_t written = 0;
        const auto flush = [&] {
            hsize_t rows = values[0].size();
            const hsize_t size = written + rows;
            if (rows == 0) return;
            for (std::size_t c = 0; c < sets.size(); ++c) {
                H5Dset_extent(sets[c], &size);
                const hid_t at = H5Dget_space(sets[c]), memory = H5Screate_simple(1, &rows, nullptr);
                H5Sselect_hyperslab(at, H5S_SELECT_SET, &written, nullptr, &rows, nullptr);
                H5Dwrite(sets[c], H5T_NATIVE_DOUBLE, memory, at, H5P_DEFAULT, values[c].data());
                H5Sclose(memory);
                H5Sclose(at);
                values[c].clear();
            }
            written = size;
        };
        each_row(recording, table, [&](std::int64_t, std::span<const double> row) {
            for (std::size_t c = 0; c < row.size(); ++c) values[c].push_back(row[c]);
            if (values[0].size() == kChunk) flush();
        });
        flush();
        for (const hid_t set : sets) H5Dclose(set);
        H5Pclose(how);
        H5Sclose(space);
    }
    H5Fclose(file);
}

void export_to(const std::filesystem::path& recording, const std::string& format, const std::string& channels,
               const std::filesystem::path& target) {
    auto reader = RecordingReader::open(recording);
    const auto request = exchange::read_export_words({format, channels}, kStart_ns);
    if (!reader || !request) fail_with("the recording cannot be exported");
    const auto written = exchange::export_recording(*reader, *request, target, [](double) { return true; });
    if (!written) fail_with(written.error().message);
}

bool race_exports(const std::filesystem::path& folder, const std::filesystem::path& whole) {
    const auto part = folder / "part.sqlite";
    record(part, 0.25);
    struct Case {
        std::string format, channels;
        std::function<void(const std::filesystem::path&)> bare;
    };
    const auto places = [&](const char* format) {
        return [&, format](const std::filesystem::path& target) { bare_places(whole, target, format); };
    };
    const std::vector<Case> cases{
        {"csv", "kite", [&](const auto& target) { bare_lines(whole, target, false); }},
        {"jsonl", "kite", [&](const auto& target) { bare_lines(whole, target, true); }},
        {"npz", "kite", [&](const auto& target) { bare_array(whole, target); }},
        {"hdf5", "kite", [&](const auto& target) { bare_hdf5(whole, target); }},
        {"kml", "kite/fix", places("%.8f,%.8f,%.3f\n")},
        {"gpx", "kite/fix", places("<trkpt lon=\"%.8f\" lat=\"%.8f\"><ele>%.3f</ele><time>%ld</time></trkpt>\n")},
        {"geojson", "kite/fix", places("[%.8f,%.8f,%.3f],\"%ld\"\n")}};
    bool good = true;
    Sheet sheet("format", {"ours, s", "spread, %", "MB", "bare writer, s", "spread, %", "ratio", "at least",
                           "memory, +MB", "at most"});
    for (const Case& each : cases) {
        const auto target = folder / ("out." + each.format);
        export_to(part, each.format, each.channels, target); // what is allocated once
        forget_peak();
        const double resident = peak_bytes();
        export_to(whole, each.format, each.channels, target);
        const double more = peak_bytes() - resident;
        bench::Race race;
        const auto ours = race.add(
            each.format, [&] { export_to(whole, each.format, each.channels, target); });
        const auto bare = race.add("bare", [&] { each.bare(folder / "bare"); });
        race.run(kRounds);
        const Bounded ratio{race.median_s(bare) / race.median_s(ours), kRatioLeast},
            memory{more / 1e6, 0, kMemoryMost_mb};
        sheet.row(each.format,
                  {text("%.2f", race.median_s(ours)), text("%.0f", race.spread_percent(ours)),
                   text("%.1f", static_cast<double>(std::filesystem::file_size(target)) / 1e6),
                   text("%.2f", race.median_s(bare)), text("%.0f", race.spread_percent(bare)), ratio.text("%.2f"),
                   text("%.1f", kRatioLeast), memory.text("%.1f"), text("%.0f", kMemoryMost_mb)});
        good = good && ratio.met() && memory.met();
    }
    sheet.print();
    return good;
}

bool race_import(const std::filesystem::path& folder) {
    const Dictionary dictionary = bench::demo_dictionary();
    bench::FrameMaker imu(dictionary, 0), baro(dictionary, 1);
    std::vector<std::byte> log;
    constexpr std::size_t kPackets = 1'000'000;
    for (std::size_t k = 0; k < kPackets; ++k)
        (k % 3 == 2 ? baro : imu).append(log, static_cast<std::uint32_t>(10 * k), static_cast<std::uint16_t>(k % 4096));
    const auto file = folder / "flight.log";
    std::ofstream(file, std::ios::binary)
        .write(reinterpret_cast<const char*>(log.data()), static_cast<std::streamsize>(log.size()));
    std::size_t sink = 0;
    bench::Race race;
    const auto ours = race.add(
        "read for import",
        [&] {
            const auto read = exchange::read_log(
                file, CobsFraming{}, dictionary, 0, {}, [](double) { return true; });
            if (!read || read->packets.size() != kPackets) fail_with("the log was not read whole");
            sink += read->packets.size();
        });
    const auto bare = race.add("bare parser", [&] {
        FrameReader reader(CobsFraming{}, dictionary);
        reader.push(log, [&](const Frame&, const DecodedPacket* packet) { sink += packet != nullptr ? 1 : 0; });
    });
    race.run(kRounds);
    const Bounded packets_m{kPackets / race.median_s(ours) / 1e6, kPacketsLeast_m};
    Sheet sheet("million packets a second on one core",
                {"read, decoded, indexed", "spread, %", "at least", "bare parser", "spread, %", "ratio"});
    sheet.row("COBS frames of the demo's dictionary",
              {packets_m.text("%.2f"), text("%.0f", race.spread_percent(ours)), text("%.0f", kPacketsLeast_m),
               text("%.2f", kPackets / race.median_s(bare) / 1e6), text("%.0f", race.spread_percent(bare)),
               text("%.2f", race.median_s(bare) / race.median_s(ours))});
    sheet.print();
    return packets_m.met() && sink > 0;
}

/// To any row of the three hours: what stands there, and the next 0.1 s.
bool time_seeks(const std::filesystem::path& whole) {
    auto reader = RecordingReader::open(whole);
    if (!reader) fail_with("the recording cannot be opened");
    std::mt19937 random(2);
    std::vector<double> seeks_ms;
    for (int i = 0; i < 200; ++i) {
        const std::int64_t at_ns = kStart_ns + static_cast<std::int64_t>(random() % 1'080'000) * 10'000'000;
        const auto start = std::chrono::steady_clock::now();
        const auto latest = reader->latest(at_ns);
        Batch rows;
        reader->rows(at_ns, at_ns + 100'000'000, 1000, rows);
        seeks_ms.push_back(std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count());
        if (latest.at(0).value().first != at_ns || rows.rows.empty()) fail_with("a jump found another moment");
    }
    const Bounded worst{bench::quantile(seeks_ms, 1), 0, kSeekMost_ms};
    Sheet sheet("a jump in the recording, ms", {"median", "99 of 100", "worst of 200", "at most"});
    sheet.row("readouts and the next 0.1 s of rows",
              {text("%.2f", bench::quantile(seeks_ms, 0.5)), text("%.2f", bench::quantile(seeks_ms, 0.99)),
               worst.text("%.2f"), text("%.0f", kSeekMost_ms)});
    sheet.print();
    return worst.met();
}

} // namespace

int main() {
    const auto folder = std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()));
    std::filesystem::create_directory(folder);
    const auto whole = folder / "whole.sqlite";
    record(whole, 3);
    std::printf("## Export\n\nThree hours, 1.08 million inertial samples and 54,000 fixes, %.0f MB.\n",
                static_cast<double>(std::filesystem::file_size(whole)) / 1e6);
    const bool exports = race_exports(folder, whole);
    std::printf("\n## Import\n");
    const bool imports = race_import(folder);
    std::printf("\n## Seek in three hours\n");
    const bool seeks = time_seeks(whole);
    std::filesystem::remove_all(folder);
    return exports && imports && seeks ? 0 : 1;
}
