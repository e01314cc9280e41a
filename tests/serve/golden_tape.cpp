#include "tests/serve/golden_tape.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <nlohmann/json.hpp>

#include "server/pipeline/events.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "tests/support/hex.hpp"
#include "tests/support/tree.hpp"

using namespace turnstone;

namespace {

constexpr std::int64_t kFoundAfterNs = 250'000'000;

std::int64_t tape_time(double t_s) {
    return kTapeStartNs + static_cast<std::int64_t>(std::llround(t_s * 1e9));
}

template <class Part>
const Part& named(const std::vector<Part>& parts, const std::string& name) {
    const auto found = std::find_if(parts.begin(), parts.end(), [&](const Part& part) { return part.name == name; });
    if (found == parts.end()) throw std::runtime_error("the pipeline makes nothing called '" + name + "'");
    return *found;
}

} // namespace

std::shared_ptr<const PipelineSetup> golden_setup() {
    static const std::shared_ptr<const PipelineSetup> golden = [] {
        auto setup = std::make_shared<PipelineSetup>();
        std::vector<Problem> problems;
        const auto read = [&](const std::string& name, std::string& text) {
            text = test::read_file(test::source_path("tests/serve/setup/" + name));
            return parse_json_text(text, name, problems).value_or(nlohmann::json());
        };
        VehicleSetup vehicle;
        vehicle.dictionary =
            read_dictionary(read("dictionary.json", vehicle.dictionary_json), "dictionary.json", problems);
        vehicle.vehicle = read_vehicle(read("vehicle.json", vehicle.vehicle_json), "vehicle.json", problems);
        for (const char* const name : {"procedures/bench.json", "readiness.json"})
            read_folder_file(
                {.name = name, .text = test::read_file(test::source_path(std::string("tests/serve/setup/") + name))},
                "tests/serve/setup", vehicle, problems);
        setup->vehicles.push_back(std::move(vehicle));
        setup->site = read_site(read("site.json", setup->site_json), "site.json", problems);
        setup->links.push_back(
            {.name = "radio", .uri = "serial:/dev/ttyUSB0?baud=57600&place=-47.2525,68.4975", .vehicle = 0});
        if (!problems.empty()) throw std::runtime_error(to_string(problems));
        return setup;
    }();
    return golden;
}

std::shared_ptr<const Schema> golden_schema() {
    static const std::shared_ptr<const Schema> golden = [] {
        const Pipeline pipeline(*golden_setup(), kTapeStartNs);
        const auto hello = nlohmann::json::parse(golden_text("hello.json"));
        auto schema = std::make_shared<Schema>();
        for (const auto& shown : hello.at("description").at("tables")) {
            const Table& whole = named(pipeline.schema().tables, shown.at("name").get<std::string>());
            Table table = whole;
            table.id = static_cast<TableId>(schema->tables.size());
            table.columns.clear();
            for (const auto& column : shown.at("columns"))
                table.columns.push_back(named(whole.columns, column.at("name").get<std::string>()));
            table.number_count = static_cast<std::size_t>(
                std::count_if(table.columns.begin(), table.columns.end(), [](const Column& c) { return !c.is_text; }));
            schema->tables.push_back(std::move(table));
        }
        return schema;
    }();
    return golden;
}

LiveTape golden_tape() {
    return {.id = kTapeId,
            .name = "First light",
            .t_start_ns = kTapeStartNs,
            .utc_start_ns = kTapeStartNs,
            .schema = golden_schema(),
            .setup = golden_setup()};
}

std::string golden_text(const std::string& name) {
    return test::read_file(test::source_path("tests/golden/stream/" + name));
}

std::string golden_bytes(const std::string& name) {
    return test::text_from_hex(golden_text(name));
}

void add_row(Batch& batch, TableId table, double t_s, const std::vector<double>& numbers,
             const std::vector<std::string_view>& texts) {
    batch.add_row(golden_schema()->tables.at(table), tape_time(t_s), tape_time(t_s), numbers, texts);
}

Event phase_event(double t_s) {
    return make_event({.id = EventId::phase_began,
                       .t_ns = tape_time(t_s),
                       .t_sigma_s = 0.01,
                       .about = "under_thrust",
                       .values = {{"phase", std::string("under thrust")}}},
                      tape_time(t_s) + kFoundAfterNs, {.index = 0, .name = "sanderling"});
}

Event note_event(double t_s, const std::string& text) {
    return make_event({.id = EventId::note, .t_ns = tape_time(t_s), .values = {{"text", text}}}, tape_time(t_s));
}
