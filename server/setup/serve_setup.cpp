#include "server/setup/serve_setup.hpp"

#include <string>
#include <utility>

#include <unistd.h>

#include <nlohmann/json.hpp>

#include "protocol/reading/frame_reader.hpp"
#include "server/setup/self_described.hpp"

namespace turnstone {

namespace {

struct Document {
    std::string text;
    nlohmann::json json;
};

std::optional<Document> read_document(const std::filesystem::path& path, std::vector<Problem>& problems) {
    auto text = read_text_file(path);
    if (!text) {
        problems.push_back({path.string(), "", text.error().message, "give a readable JSON file"});
        return std::nullopt;
    }
    auto json = parse_json_text(*text, path.string(), problems);
    if (!json) return std::nullopt;
    return Document{std::move(*text), std::move(*json)};
}

void read_site_file(const Settings& settings, PipelineSetup& out, std::vector<Problem>& problems) {
    if (settings.site.empty()) {
        problems.push_back(
            {"settings", "/site", "no site is given", "give a site file: --site FILE, or \"site\" in a settings file"});
    } else if (const auto site = read_document(settings.site, problems)) {
        out.site_json = site->text;
        out.site = read_site(site->json, settings.site.string(), problems);
    }
}

/// The vehicle a link carries: the one it names, else the first.
std::optional<std::size_t> vehicle_of(const LinkUri& uri, const std::vector<VehicleSetup>& vehicles,
                                      std::vector<Problem>& problems) {
    if (uri.vehicle.empty()) return 0;
    std::string known;
    for (std::size_t i = 0; i < vehicles.size(); ++i) {
        if (vehicles[i].dictionary.vehicle == uri.vehicle) return i;
        known += (i == 0 ? "" : ", ") + vehicles[i].dictionary.vehicle;
    }
    problems.push_back({"settings", "/links", "link \"" + uri.text + "\" names the unknown vehicle " + uri.vehicle,
                        "expected one of the vehicles given: " + known});
    return std::nullopt;
}

/// A missing capture is waited for, as a radio that is not plugged in is; who wants to end after it would not
/// get there.
void check_captures(const Settings& settings, std::vector<Problem>& problems) {
    if (!settings.exit_at_end) return;
    for (const LinkUri& uri : settings.links) {
        const auto* const file = std::get_if<FileSource>(&uri.source);
        std::error_code error;
        if (file != nullptr &&
            (!std::filesystem::is_regular_file(file->path, error) || ::access(file->path.c_str(), R_OK) != 0))
            problems.push_back({"settings", "/links", uri.text + " cannot be read, and exit_at_end would wait for it",
                                "give the path of a capture that is there"});
    }
}

} // namespace

std::vector<VehicleSetup> read_vehicles(const Settings& settings, std::vector<Problem>& problems) {
    // The first link that carries the vehicle and says itself what it brings.
    const auto make_dictionary = [&](const std::string& vehicle) -> std::optional<std::string> {
        for (const LinkUri& uri : settings.links)
            if (uri.vehicle.empty() || uri.vehicle == vehicle)
                if (auto made = dictionary_of_link(uri, vehicle)) return made;
        return std::nullopt;
    };
    std::vector<VehicleSetup> vehicles = read_vehicle_folders(settings.vehicles, problems, make_dictionary);
    add_self_described(settings.links, vehicles, problems);
    return vehicles;
}

std::optional<ServeSetup> read_setup(Settings settings, std::vector<Problem>& problems) {
    const std::size_t problems_before = problems.size();
    auto setup = std::make_shared<PipelineSetup>();
    setup->vehicles = read_vehicles(settings, problems);
    if (settings.vehicles.empty() && setup->vehicles.empty())
        problems.push_back({"settings", "/vehicles", "no vehicle is given",
                            "give a vehicle folder: --vehicle DIR, or \"vehicles\" in a settings file"});
    read_site_file(settings, *setup, problems);
    complete_settings(settings, "settings", problems);
    check_captures(settings, problems);
    if (problems.size() != problems_before) return std::nullopt;
    for (const LinkUri& uri : settings.links) {
        const auto vehicle = vehicle_of(uri, setup->vehicles, problems);
        const auto framing = framing_of(uri);
        if (!framing)
            problems.push_back({"settings", "/links", framing.error().message, "see \"turnstone serve --help\""});
        if (!vehicle || !framing) continue;
        const Dictionary& dictionary = setup->vehicles[*vehicle].dictionary;
        check_framing(*framing, dictionary, "dictionary of " + dictionary.vehicle, problems);
        setup->links.push_back({uri.name, uri.text, *vehicle});
    }
    if (problems.size() != problems_before) return std::nullopt;
    std::optional<BrokerAccess> publish_to;
    if (!settings.publish_as.empty())
        if (auto access = broker_of(settings)) publish_to = std::move(*access);
    return ServeSetup{
        .pipeline = std::move(setup), .uris = std::move(settings.links), .publish_to = std::move(publish_to)};
}

} // namespace turnstone
