#include "server/record/read/reader_state.hpp"
#include <nlohmann/json.hpp>

#include "server/setup/vehicle_folder.hpp"

namespace turnstone {

Result<PipelineSetup> RecordingReader::setup() {
    try {
        PipelineSetup setup;
        std::vector<Problem> problems;
        Statement vehicles(state_->database, "SELECT name, dictionary_json, vehicle_json FROM vehicle ORDER BY id");
        while (vehicles.step()) {
            auto vehicle = read_vehicle_texts(vehicles.text(1), vehicles.text(2),
                                              state_->path.string() + ": " + vehicles.text(0), problems);
            if (!vehicle) return fail(to_string(problems));
            setup.vehicles.push_back(std::move(*vehicle));
        }
        setup.site_json = state_->database.text("SELECT site_json FROM site");
        const std::string site_name = state_->path.string() + ": site.json";
        if (const auto json = parse_json_text(setup.site_json, site_name, problems))
            setup.site = read_site(*json, site_name, problems);
        if (!problems.empty()) return fail(to_string(problems));
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
