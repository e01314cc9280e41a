// What a recording costs: twenty minutes of two vehicles with a link each, five to six flights a vehicle, through the
// pipeline and into a file as the recorder writes it: inputs are committed every 100 ms, what is derived from them
// every 1.5 s, each commit synced. Bytes of file and bytes written to the disk are given per byte received.
#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>
#include <unistd.h>

#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/format/sqlite.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/write/recording_file.hpp"
#include "tools/benchmarks/flown.hpp"
#include "tools/benchmarks/measure.hpp"

namespace {

using namespace turnstone;

constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;
constexpr double kDuration_s = 1200;
constexpr std::int64_t kInputsCommit_ns = 100'000'000;
constexpr int kDerivedCommits = 15; ///< a derived commit with every so many commits of inputs

[[noreturn]] void fail_with(const std::string& why) {
    std::fprintf(stderr, "recording: %s\n", why.c_str());
    std::exit(1);
}

std::string text_of(const std::string& path) {
    std::ifstream file(bench::source(path), std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

/// Procedures and the readiness board of the demo's vehicle.
std::vector<FolderFile> other_files() {
    const std::string folder = "tools/demo/sanderling/";
    std::vector<FolderFile> files{{.name = "readiness.json", .text = text_of(folder + "readiness.json")}};
    for (const auto& entry : std::filesystem::directory_iterator(bench::source(folder + "procedures"))) {
        const std::string name = "procedures/" + entry.path().filename().string();
        files.push_back({.name = name, .text = text_of(folder + name)});
    }
    std::ranges::sort(files, {}, &FolderFile::name);
    return files;
}

PipelineSetup demo_setup(const std::vector<FolderFile>& files) {
    PipelineSetup setup;
    std::vector<Problem> problems;
    for (const char* name : {"sanderling", "plover"}) {
        std::string dictionary = text_of("tools/demo/sanderling/dictionary.json");
        const std::string vehicle = "\"vehicle\": \"sanderling\"";
        dictionary.replace(dictionary.find(vehicle), vehicle.size(), "\"vehicle\": \"" + std::string(name) + "\"");
        auto read =
            read_vehicle_texts(dictionary, text_of("tools/demo/sanderling/vehicle.json"), name, problems, files);
        if (!read) fail_with(to_string(problems));
        setup.links.push_back({"radio-" + std::string(name), "serial:/dev/ttyUSB0?baud=57600", setup.vehicles.size()});
        setup.vehicles.push_back(std::move(*read));
    }
    setup.site_json = text_of("tools/demo/site.json");
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    if (!problems.empty()) fail_with(to_string(problems));
    return setup;
}

/// What is committed every 100 ms, and what the pipeline makes of it.
struct Commit {
    Inputs inputs;
    Batch derived;
    Progress progress;
};

std::vector<Commit> run_pipeline(Pipeline& pipeline, const PipelineSetup& setup,
                                 const std::vector<bench::Sent>& received) {
    std::vector<Commit> commits(1);
    InputCounter counter(setup.links.size(), kStart_ns);
    std::mt19937 random(3);
    std::int64_t commit_ns = kStart_ns + kInputsCommit_ns;
    const auto finish_commit = [&] {
        pipeline.take(commits.back().inputs, commits.back().derived);
        commits.back().progress = pipeline.progress();
    };
    for (const bench::Sent& each : received) {
        const std::int64_t t_ns = kStart_ns + each.t_ns;
        for (; t_ns >= commit_ns; commit_ns += kInputsCommit_ns) {
            finish_commit();
            commits.emplace_back();
        }
        // Two clocks read one after the other, one of them steered by a few parts per million.
        const std::int64_t utc_ns = t_ns + each.t_ns / 200'000 + 40 + random() % 200;
        counter.chunk(each.link, t_ns, utc_ns, each.bytes, commits.back().inputs);
    }
    finish_commit();
    return commits;
}

/// Of this process, so far; what waits in the page cache is counted when it is made.
std::uint64_t written_to_disk() {
    ::sync();
    std::ifstream io("/proc/self/io");
    std::string name;
    for (std::uint64_t value = 0; io >> name >> value;)
        if (name == "write_bytes:") return value;
    fail_with("/proc/self/io does not say how much was written");
}

void write(const std::filesystem::path& path, const PipelineSetup& setup, const Schema& schema,
           const std::vector<Commit>& commits) {
    create_recording(path, texts_of(setup), schema, {kStart_ns, kStart_ns, "", ""}, true);
    {
        RecordingFile file(path, schema, true);
        std::size_t derived = 0;
        for (std::size_t i = 0; i < commits.size(); ++i) {
            file.append(commits[i].inputs);
            file.commit();
            if ((i + 1) % kDerivedCommits != 0 && i + 1 != commits.size()) continue;
            for (; derived <= i; ++derived) file.append(commits[derived].derived, commits[derived].progress);
            file.commit();
        }
        file.close("clean");
    }
    if (!make_single_file(path)) fail_with("the file is still open");
}

std::string part_of(const std::string& name) {
    const auto has = [&](const char* word) { return name.find(word) != std::string::npos; };
    if (name.starts_with("rollup_")) return "rollups";
    if (name == "chunk" || name == "frame") return name;
    if (has("_estimate_")) return "estimates";
    if (name.starts_with("stored_link_")) return "link statistics";
    if (has("imu_samples")) return "inertial samples";
    if (name.starts_with("stored_")) return "other packets";
    return "descriptions, events, SQL";
}

void print_parts(const std::filesystem::path& path, double received) {
    Database database(path, Database::Mode::read_only);
    std::map<std::string, double> parts;
    Statement pages(database, "SELECT name, sum(pgsize) FROM dbstat GROUP BY name");
    while (pages.step()) parts[part_of(pages.text(0))] += static_cast<double>(pages.integer(1));
    for (const auto& [part, bytes] : parts)
        std::printf("    %-26s %6.2f MB  %5.2f By/By\n", part.c_str(), bytes / 1e6, bytes / received);
}

/// Where an empty recording's bytes are.
void print_pages(const std::filesystem::path& path) {
    Database database(path, Database::Mode::read_only);
    Statement pages(database,
                    "SELECT name, sum(pgsize), sum(payload) FROM dbstat GROUP BY name ORDER BY 2 DESC LIMIT 6");
    while (pages.step())
        std::printf("    %-26s %6.1f kB, %.1f of them content\n", pages.text(0).c_str(), 1e-3 * pages.number(1),
                    1e-3 * pages.number(2));
}

template <class Work>
double ms_of(Work&& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - start).count();
}

void print_times(const std::filesystem::path& path) {
    auto reader = RecordingReader::open(path);
    if (!reader) fail_with(reader.error().message);
    const auto draw = [&](std::int64_t from_ns, std::int64_t to_ns, std::size_t points) {
        for (const Table& table : reader->schema().tables) {
            SeriesQuery query{table.id, {}, from_ns, to_ns, points};
            for (std::size_t c = 0; c < table.number_count; ++c) query.columns.push_back(c);
            if (!reader->series(query)) fail_with("a series cannot be read");
        }
    };
    const auto end_ns = kStart_ns + static_cast<std::int64_t>(kDuration_s * 1e9);
    std::mt19937 random(2);
    for (const std::size_t points : {1000U, 8192U}) {
        std::vector<double> whole, minute;
        for (int i = 0; i < 7; ++i) {
            whole.push_back(ms_of([&] { draw(kStart_ns, end_ns, points); }));
            const std::int64_t from_ns = kStart_ns + random() % 1000 * 1'000'000'000LL;
            minute.push_back(ms_of([&] { draw(from_ns, from_ns + 60'000'000'000, points); }));
        }
        std::printf("  every series at %4zu points: the whole %.0f ms, a minute %.0f ms\n", points,
                    bench::quantile(whole, 0.5), bench::quantile(minute, 0.5));
    }
    std::vector<double> seeks, windows;
    for (int i = 0; i < 200; ++i) {
        const std::int64_t at_ns = kStart_ns + random() % 1'200'000 * 1'000'000LL;
        seeks.push_back(ms_of([&] { static_cast<void>(reader->latest(at_ns)); }));
        windows.push_back(ms_of([&] {
            Batch rows;
            reader->rows(at_ns, at_ns + 100'000'000, 8192, rows);
        }));
    }
    std::printf("  seek: readouts %.2f ms (worst %.2f), the next 0.1 s of rows %.2f ms (worst %.2f)\n",
                bench::quantile(seeks, 0.5), bench::quantile(seeks, 1), bench::quantile(windows, 0.5),
                bench::quantile(windows, 1));
    std::printf("  opening %.1f ms\n", ms_of([&] { static_cast<void>(RecordingReader::open(path)->description()); }));
}

} // namespace

int main() {
    const PipelineSetup setup = demo_setup({}), with_ground_tests = demo_setup(other_files());
    const std::vector<bench::Sent> received = bench::demo_bytes(2, kDuration_s);
    double bytes = 0;
    for (const bench::Sent& each : received) bytes += static_cast<double>(each.bytes.size());
    Pipeline pipeline(setup, kStart_ns);
    const std::vector<Commit> commits = run_pipeline(pipeline, setup, received);

    const auto directory = std::filesystem::temp_directory_path() / ("turnstone-bench-" + std::to_string(::getpid()));
    std::filesystem::create_directory(directory);
    const auto empty = directory / "empty.sqlite", full = directory / "full.sqlite", whole = directory / "whole.sqlite";
    write(empty, setup, pipeline.schema(), {});
    write(whole, with_ground_tests, Pipeline(with_ground_tests, kStart_ns).schema(), {});
    const std::uint64_t before = written_to_disk();
    const double took_ms = ms_of([&] { write(full, setup, pipeline.schema(), commits); });
    const auto written = static_cast<double>(written_to_disk() - before);
    const auto size = static_cast<double>(std::filesystem::file_size(full));

    std::printf("recording: %.0f s, two vehicles, %.2f MB received in %zu chunks of %.0f By\n", kDuration_s,
                bytes / 1e6, received.size(), bytes / static_cast<double>(received.size()));
    std::printf("  file              %8.2f MB  %6.2f By/By (limit 8)\n", size / 1e6, size / bytes);
    print_parts(full, bytes);
    std::printf("  written to disk   %8.2f MB  %6.2f By/By (limit 40), in %.1f s\n", written / 1e6, written / bytes,
                took_ms / 1e3);
    std::printf("  empty recording   %8.1f kB (limit 150); with procedures and a readiness board %.1f kB\n",
                static_cast<double>(std::filesystem::file_size(empty)) / 1e3,
                static_cast<double>(std::filesystem::file_size(whole)) / 1e3);
    print_pages(whole);
    print_times(full);
    std::filesystem::remove_all(directory);
    return size / bytes <= 8 && written / bytes <= 40 ? 0 : 1;
}
