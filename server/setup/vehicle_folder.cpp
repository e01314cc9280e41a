#include "server/setup/vehicle_folder.hpp"

#include <algorithm>
#include <set>
#include <string>
#include <system_error>
#include <utility>

#include "server/pipeline/vehicle_texts.hpp"

namespace turnstone {

namespace {

/// Files that are of no vehicle are left alone: editors and people leave some.
void read_other_files(const std::filesystem::path& folder, VehicleSetup& setup, std::vector<Problem>& problems) {
    std::set<std::string> names; // sorted, so that a recording has them in one order
    std::error_code error;
    for (const auto& entry : std::filesystem::directory_iterator(folder / "procedures", error))
        if (entry.path().extension() == ".json") names.insert("procedures/" + entry.path().filename().string());
    for (const char* one : {"log.json", "mass.csv", "readiness.json"})
        if (std::filesystem::exists(folder / one, error)) names.insert(one);
    for (const std::string& name : names) {
        const std::string path = (folder / name).string();
        if (auto text = read_text_file(path))
            read_folder_file({.name = name, .text = std::move(*text)}, folder.string(), setup, problems);
        else
            problems.push_back({path, "", text.error().message, "make it readable, or take it away"});
    }
}

} // namespace

std::optional<VehicleSetup> read_vehicle_folder(const std::filesystem::path& folder, std::vector<Problem>& problems,
                                                const MakeDictionary& make_dictionary) {
    const std::size_t problems_before = problems.size();
    VehicleSetup setup;
    const auto read_file = [&](const char* name, auto read) {
        const std::string path = (folder / name).string();
        if (auto text = read_text_file(path))
            read(std::move(*text), path, setup, problems);
        else
            problems.push_back(
                {path, "", text.error().message,
                 "give a folder with a readable dictionary.json and vehicle.json; only a vehicle on a "
                 "link with framing=nmea, framing=kiss and holds=aprs, or framing=text and names=, needs no "
                 "dictionary.json"});
    };
    std::error_code error;
    const bool may_make = make_dictionary && !std::filesystem::exists(folder / "dictionary.json", error);
    if (!may_make) read_file("dictionary.json", &read_dictionary_text);
    read_file("vehicle.json", &read_vehicle_text);
    if (may_make) {
        if (auto made = make_dictionary(setup.vehicle.name))
            read_dictionary_text(std::move(*made), (folder / "dictionary.json").string() + " (made)", setup, problems);
        else
            read_file("dictionary.json", &read_dictionary_text);
    }
    read_other_files(folder, setup, problems);
    if (problems.size() == problems_before && setup.vehicle.name != setup.dictionary.vehicle) {
        problems.push_back({(folder / "vehicle.json").string(), "/name", "is \"" + setup.vehicle.name + "\"",
                            "must be \"" + setup.dictionary.vehicle + "\", as the dictionary beside it says"});
    }
    return problems.size() == problems_before ? std::optional(std::move(setup)) : std::nullopt;
}

std::vector<VehicleSetup> read_vehicle_folders(const std::vector<std::filesystem::path>& folders,
                                               std::vector<Problem>& problems, const MakeDictionary& make_dictionary) {
    std::vector<VehicleSetup> vehicles;
    for (const std::filesystem::path& folder : folders) {
        auto vehicle = read_vehicle_folder(folder, problems, make_dictionary);
        if (!vehicle) continue;
        const std::string& name = vehicle->dictionary.vehicle;
        if (std::ranges::any_of(vehicles, [&](const VehicleSetup& other) { return other.dictionary.vehicle == name; }))
            problems.push_back({(folder / "dictionary.json").string(), "/vehicle", "\"" + name + "\" is given twice",
                                "give each vehicle folder once"});
        vehicles.push_back(std::move(*vehicle));
    }
    return vehicles;
}

} // namespace turnstone
