#include "server/record/setup.hpp"

#include <fstream>
#include <sstream>

#include "server/record/reader_state.hpp"

namespace turnstone {

namespace {

Result<std::string> read_text(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    if (!file || !(text << file.rdbuf())) {
        return fail(path.string() +
                    ": cannot be read; a vehicle folder holds dictionary.json and vehicle.json");
    }
    return text.str();
}

} // namespace

Result<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                        const std::string& where) {
    std::vector<Problem> problems;
    VehicleSetup setup;
    const std::string dictionary_name = where + "/dictionary.json";
    const std::string vehicle_name = where + "/vehicle.json";
    if (const auto json = parse_json_text(dictionary_json, dictionary_name, problems)) {
        setup.dictionary = read_dictionary(*json, dictionary_name, problems);
    }
    if (const auto json = parse_json_text(vehicle_json, vehicle_name, problems)) {
        setup.vehicle = read_vehicle(*json, vehicle_name, problems);
    }
    if (!problems.empty()) {
        return fail(to_string(problems));
    }
    setup.dictionary_json = std::move(dictionary_json);
    setup.vehicle_json = std::move(vehicle_json);
    return setup;
}

Result<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder) {
    auto dictionary = read_text(folder / "dictionary.json");
    auto vehicle = read_text(folder / "vehicle.json");
    if (!dictionary || !vehicle) {
        return tl::unexpected(dictionary ? vehicle.error() : dictionary.error());
    }
    return read_vehicle_texts(std::move(*dictionary), std::move(*vehicle), folder.string());
}

Result<PipelineSetup> RecordingReader::setup() {
    try {
        PipelineSetup setup;
        Statement vehicles(state_->database,
                           "SELECT name, dictionary_json, vehicle_json FROM vehicle ORDER BY id");
        while (vehicles.step()) {
            auto vehicle = read_vehicle_texts(vehicles.text(1), vehicles.text(2),
                                              state_->path.string() + ": " + vehicles.text(0));
            if (!vehicle) {
                return tl::unexpected(vehicle.error());
            }
            setup.vehicles.push_back(std::move(*vehicle));
        }
        setup.site_json = state_->database.text("SELECT site_json FROM site");
        std::vector<Problem> problems;
        const std::string site_name = state_->path.string() + ": site.json";
        if (const auto json = parse_json_text(setup.site_json, site_name, problems)) {
            setup.site = read_site(*json, site_name, problems);
        }
        if (!problems.empty()) {
            return fail(to_string(problems));
        }
        Statement links(state_->database, "SELECT name, uri, vehicle FROM link ORDER BY id");
        while (links.step()) {
            const auto vehicle = static_cast<std::size_t>(links.integer(2));
            if (vehicle >= setup.vehicles.size()) {
                return fail(state_->path.string() + ": link " + links.text(0) + " carries vehicle " +
                            std::to_string(vehicle) + ", which the recording does not have");
            }
            setup.links.push_back({links.text(0), links.text(1), vehicle});
        }
        return setup;
    } catch (const SqliteError& failure) {
        return fail(state_->path.string() + ": " + failure.what());
    }
}

} // namespace turnstone
