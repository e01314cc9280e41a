/// A recording that is damaged anywhere: reading, verifying and reading out end, and what cannot be read is said. The
/// input is a list of changes to a sound file: a place (3 bytes) and a new value; a last byte left over cuts the file.
#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <string>
#include <unistd.h>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/vehicle_texts.hpp"
#include "server/record/read/reader.hpp"
#include "server/record/verify.hpp"
#include "server/record/write/recorder.hpp"

namespace {

using namespace turnstone;

constexpr std::int64_t kStart_ns = 1'779'028'325'000'000'000;

std::string contents(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

PipelineSetup demo_setup() {
    const std::filesystem::path demo = TURNSTONE_SOURCE_DIR "/tools/demo";
    std::vector<Problem> problems;
    PipelineSetup setup;
    // A vehicle of which nothing is predicted: each input is interpreted again, and predictions took ten seconds.
    auto vehicle = read_vehicle_texts(contents(demo / "whimbrel/dictionary.json"),
                                      contents(demo / "whimbrel/vehicle.json"), "demo", problems);
    setup.site_json = contents(demo / "site.json");
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    if (!vehicle || !problems.empty()) std::abort();
    setup.vehicles.push_back(std::move(*vehicle));
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0", 0});
    return setup;
}

/// A second of noise with markers: chunks, frames, link figures, events.
std::string sound_recording(const std::filesystem::path& directory) {
    const PipelineSetup setup = demo_setup();
    Pipeline pipeline(setup, kStart_ns);
    std::string id;
    {
        Recorder recorder({.directory = directory, .commit_interval_ms = 100, .sync_every_commit = false}, setup);
        id = recorder.begin(pipeline.schema(),
                            {.t_start_ns = kStart_ns, .utc_start_ns = kStart_ns, .name = "", .continues = ""},
                            kStart_ns);
        unsigned seed = 1;
        std::uint64_t input = 0;
        for (std::int64_t k = 0; k < 50; ++k) {
            auto inputs = std::make_shared<Inputs>();
            auto batch = std::make_shared<Batch>();
            const std::int64_t t_ns = kStart_ns + k * 20'000'000;
            for (int i = 0; i < 60; ++i)
                inputs->bytes.push_back(static_cast<std::byte>((seed = seed * 1103515245U + 12345U) >> 24U));
            inputs->chunks.push_back({input++, 0, t_ns, t_ns, static_cast<std::uint64_t>(60 * k), false, {0, 60}});
            if (k % 10 == 5) inputs->actions.push_back({input++, t_ns, Marker{"look here"}});
            pipeline.take(*inputs, *batch);
            recorder.push(inputs);
            recorder.push(batch, pipeline.progress());
        }
    }
    return contents(directory / (id + ".sqlite"));
}

/// One folder for the whole run.
struct Place {
    std::filesystem::path directory =
        std::filesystem::temp_directory_path() / ("turnstone-fuzz-recording-" + std::to_string(getpid()));
    Place() { std::filesystem::create_directories(directory); }
    ~Place() {
        std::error_code ignored;
        std::filesystem::remove_all(directory, ignored);
    }
    Place(const Place&) = delete;
    Place& operator=(const Place&) = delete;
};

void read_all(const std::filesystem::path& path, ReadMode mode) {
    auto reader = RecordingReader::open(path, mode);
    if (!reader) {
        if (reader.error().message.empty()) std::abort();
        return;
    }
    (void)reader->info();
    (void)reader->description();
    (void)reader->setup();
    std::uint64_t bytes = 0;
    reader->inputs([&](const ChunkRecord&, std::span<const std::byte> chunk) { bytes += chunk.size(); },
                   [](const ActionRecord&) {});
    constexpr std::int64_t kLast_ns = std::numeric_limits<std::int64_t>::max();
    (void)reader->events(0, kLast_ns);
    (void)reader->latest(kLast_ns);
    (void)reader->frames(0, 100, {});
    for (const Table& table : reader->schema().tables) {
        const auto block = reader->series({table.id, {}, 0, kLast_ns, 100});
        if (block && block->rows > 100) std::abort();
    }
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    static const Place place;
    static const std::string sound = sound_recording(place.directory);
    std::string damaged = sound;
    for (; size >= 4; data += 4, size -= 4) {
        const std::size_t at =
            data[0] | static_cast<std::size_t>(data[1]) << 8U | static_cast<std::size_t>(data[2]) << 16U;
        damaged[at % damaged.size()] = static_cast<char>(data[3]);
    }
    if (size > 0) damaged.resize(damaged.size() * data[0] / 256);
    const std::filesystem::path path = place.directory / "damaged.sqlite";
    std::ofstream(path, std::ios::binary | std::ios::trunc) << damaged;
    read_all(path, ReadMode::whole);
    read_all(path, ReadMode::as_far_as_it_goes);
    const auto verified = verify_recording(path);
    if (!verified && verified.error().message.empty()) std::abort();
    return 0;
}
