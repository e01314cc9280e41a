#include "server/setup/config.hpp"

#include <boost/asio/ip/address.hpp>
#include <nlohmann/json.hpp>

#include "server/link/link.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kVehiclesMax = 16;
constexpr std::size_t kLinksMax = 64;
constexpr std::size_t kHostNamesMax = 64;

} // namespace

std::string Config::bind_address() const {
    if (!listen_address.empty()) return listen_address;
    return share ? "0.0.0.0" : "127.0.0.1";
}

Config read_config(const nlohmann::json& json, const std::string& file, std::vector<Problem>& problems) {
    const std::filesystem::path folder = std::filesystem::path(file).parent_path();
    JsonReader in(json, file, problems);
    Config out;
    in.ignore("$schema");
    for (JsonReader& element : in.array_if("vehicles", kVehiclesMax))
        out.vehicles.push_back(folder / element.as_text());
    if (in.has("site")) out.site = folder / in.text("site");
    in.ignore("site");
    for (JsonReader& element : in.array_if("links", kLinksMax)) {
        out.links.push_back(element.as_text());
        const auto uri = parse_link_uri(out.links.back());
        if (!uri && !out.links.back().empty()) {
            const std::string& message = uri.error().message;
            const std::size_t split = message.rfind("; ");
            element.problem(message.substr(0, split), split == std::string::npos ? "" : message.substr(split + 2));
        }
    }
    out.recordings = folder / in.text_or("recordings", out.recordings.string());
    out.commit_interval_ms =
        in.integer_or("commit_interval_ms", kCommitIntervalMsMin, kCommitIntervalMsMax, out.commit_interval_ms);
    out.sync_every_commit = in.boolean_or("sync_every_commit", out.sync_every_commit);
    out.listen_address = in.text_or("listen_address", out.listen_address);
    out.port = static_cast<std::uint16_t>(in.integer_or("port", 0, 65535, out.port));
    out.share = in.boolean_or("share", out.share);
    out.viewers_max = static_cast<std::size_t>(
        in.integer_or("viewers_max", 1, kViewersMax, static_cast<std::int64_t>(out.viewers_max)));
    for (JsonReader& element : in.array_if("host_names", kHostNamesMax)) out.host_names.push_back(element.as_text());
    out.operator_key = in.text_or("operator_key", out.operator_key);
    if (!out.operator_key.empty() && out.operator_key.size() < kOperatorKeyMin) {
        in.problem_at("operator_key", "is shorter than " + std::to_string(kOperatorKeyMin) + " characters",
                      "make it longer, or leave it out for a random one at each start");
    }
    in.finish();
    return out;
}

Config read_config_file(const std::filesystem::path& path, std::vector<Problem>& problems) {
    const auto json = parse_json_file(path, problems, JsonComments::allowed);
    return json ? read_config(*json, path.string(), problems) : Config{};
}

void check_config(const Config& config, const std::string& origin, std::vector<Problem>& problems) {
    const auto problem = [&](const char* pointer, std::string wrong, std::string right) {
        problems.push_back({origin, pointer, std::move(wrong), std::move(right)});
    };
    if (config.vehicles.empty()) {
        problem("/vehicles", "no vehicle is given",
                "give a vehicle folder: --vehicle DIR, or \"vehicles\" in the file");
    }
    if (config.site.empty())
        problem("/site", "no site is given", "give a site file: --site FILE, or \"site\" in the file");
    std::vector<LinkUri> uris;
    for (std::size_t i = 0; i < config.links.size(); ++i)
        if (auto uri = parse_link_uri(config.links[i]))
            uris.push_back(std::move(*uri));
        else
            problem(("/links/" + std::to_string(i)).c_str(), uri.error().message, "see \"turnstone serve --help\"");
    if (const auto named = name_links(uris); !named)
        problem("/links", named.error().message, "write for instance serial:/dev/ttyUSB0?name=radio");
    boost::system::error_code error;
    const auto address = boost::asio::ip::make_address(config.bind_address(), error);
    if (error) {
        problem("/listen_address", "\"" + config.listen_address + "\" is not a numeric address",
                "must be an address of this machine, for instance 192.168.1.20, or 0.0.0.0 for all");
    } else if (config.share && address.is_loopback()) {
        problem("/share", "asks for the local network while listen_address is loopback only",
                "leave one of the two out");
    }
}

} // namespace turnstone
