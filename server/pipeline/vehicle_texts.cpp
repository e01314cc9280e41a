#include "server/pipeline/vehicle_texts.hpp"

#include <utility>

#include <nlohmann/json.hpp>

namespace turnstone {

void read_dictionary_text(std::string text, const std::string& file, VehicleSetup& setup,
                          std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, file, problems))
        setup.dictionary = read_dictionary(*json, file, problems);
    setup.dictionary_json = std::move(text);
}

void read_vehicle_text(std::string text, const std::string& file, VehicleSetup& setup, std::vector<Problem>& problems) {
    if (const auto json = parse_json_text(text, file, problems)) setup.vehicle = read_vehicle(*json, file, problems);
    setup.vehicle_json = std::move(text);
}

std::optional<VehicleSetup> read_vehicle_texts(std::string dictionary_json, std::string vehicle_json,
                                               const std::string& where, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    VehicleSetup setup;
    read_dictionary_text(std::move(dictionary_json), where + "/dictionary.json", setup, problems);
    read_vehicle_text(std::move(vehicle_json), where + "/vehicle.json", setup, problems);
    return problems.size() == problems_before ? std::optional(std::move(setup)) : std::nullopt;
}

} // namespace turnstone
