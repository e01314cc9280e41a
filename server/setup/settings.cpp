#include "server/setup/settings.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdlib>
#include <functional>

#include <unistd.h>

#include <boost/asio/ip/address.hpp>
#include <nlohmann/json.hpp>

namespace turnstone {

namespace {

namespace fs = std::filesystem;

std::string links_help() {
    return link_forms_help() + "\n" + framing_help();
}

// The last row's example is not a comment: no comma follows it in the example file.
constexpr Setting kTable[] = {
    {.key = "vehicles",
     .option = "--vehicle",
     .value_name = "DIR",
     .member = &Settings::vehicles,
     .min = 1,
     .max = 16,
     .help = "Vehicle folder, with dictionary.json and vehicle.json.",
     .example = R"(["sanderling"])"},
    {.key = "site",
     .option = "--site",
     .value_name = "FILE",
     .member = &Settings::site,
     .help = "Site file: pad, station and boundary; required.",
     .example = R"("site.json")"},
    {.key = "links",
     .option = "--link",
     .value_name = "URI",
     .member = &Settings::links,
     .max = 64,
     .help = "Where bytes come from. Without any link the server only shows recordings.",
     .more_help = links_help,
     .example = R"(["serial:/dev/ttyUSB0?baud=57600&name=radio"])"},
    {.key = "exit_at_end",
     .option = "--exit-at-end",
     .value_name = "",
     .member = &Settings::exit_at_end,
     .help = "End once every link, each a capture file, is read to its end and recorded; for scripts."},
    {.key = "recordings",
     .option = "--recordings",
     .value_name = "DIR",
     .member = &Settings::recordings,
     .help = "Where recordings are kept; made when missing."},
    {.key = "commit_interval_ms",
     .option = "--commit-interval-ms",
     .value_name = "MS",
     .member = &Settings::commit_interval_ms,
     .min = 20,
     .max = 240, // what a killed process can lose stays below 250 ms
     .help = "Milliseconds between commits to the recording: about what a killed process loses. A shorter interval "
             "writes to the disk more often."},
    {.key = "sync_every_commit",
     .option = "--sync-every-commit",
     .value_name = "true|false",
     .member = &Settings::sync_every_commit,
     .help = "true: each commit is forced to the disk, so that a pulled plug loses no more than a killed process. "
             "false: fewer disk writes, and a pulled plug may lose much more."},
    {.key = "listen_address",
     .option = "--listen",
     .value_name = "ADDRESS",
     .member = &Settings::listen_address,
     .help = "Numeric address to listen on. Without it: 127.0.0.1 (this machine only), or with share 0.0.0.0 (every "
             "interface).",
     .example = R"("192.168.1.20")",
     .example_is_comment = true},
    {.key = "port",
     .option = "--port",
     .value_name = "PORT",
     .member = &Settings::port,
     .max = 65535,
     .help = "Port to listen on; 0 takes any free one."},
    {.key = "share",
     .option = "--share",
     .value_name = "",
     .member = &Settings::share,
     .help = "Let everyone on the local network watch. Changing anything needs the operator key."},
    {.key = "tls",
     .option = "--tls",
     .value_name = "",
     .member = &Settings::tls,
     .help =
         "Offer https besides http: phones give their position, compass and wake lock to such pages alone. Without a "
         "certificate one is made on first use; a phone then warns until it is told to trust it."},
    {.key = "tls_port",
     .option = "--tls-port",
     .value_name = "PORT",
     .member = &Settings::tls_port,
     .max = 65535,
     .help = "Port for https; 0 takes any free one."},
    {.key = "tls_folder",
     .option = "--tls-folder",
     .value_name = "FOLDER",
     .member = &Settings::tls_folder,
     .help = "Folder with certificate.pem and key.pem, your own or those made on first use."},
    {.key = "host_names",
     .option = "--host-name",
     .value_name = "NAME",
     .member = &Settings::host_names,
     .max = 64,
     .help = "Name browsers may use for this machine besides its addresses."},
    {.key = "operator_key",
     .option = "",
     .value_name = "",
     .member = &Settings::operator_key,
     .min = 16,
     .help =
         "Unlocks the operator controls. Without it a random key is made and printed at each start, which is safer. "
         "If you set it, keep this file readable by its owner only. It has no option on the command line, which others "
         "could read.",
     .example = R"("...")",
     .example_is_comment = true},
    {.key = "operator_key_file",
     .option = "--operator-key-file",
     .value_name = "FILE",
     .member = &Settings::operator_key_file,
     .help = "File that keeps the operator key from one start to the next. When there is none it is made with a random "
             "key, readable by its owner only.",
     .example = R"("operator_key")",
     .example_is_comment = true},
    {.key = "broker",
     .option = "--broker",
     .value_name = "URI",
     .member = &Settings::broker,
     .help = "MQTT broker that stations meet at: mqtt://HOST:PORT or, encrypted, mqtts://HOST:PORT. It may say "
             "version=3.1.1 (without it 5) and, of mqtts, ca=FILE, the certificate of the authority that signed the "
             "broker's (without it one that this computer trusts).",
     .example = R"("mqtts://broker.example:8883")",
     .example_is_comment = true},
    {.key = "publish_as",
     .option = "--publish-as",
     .value_name = "NAME",
     .member = &Settings::publish_as,
     .help = "Publish to the broker, under this name, what this station's own links receive; others take it as "
             "broker:NAME/LINK. The name is 1 to 32 of a-z, 0-9, _ and -.",
     .example = R"("hill")",
     .example_is_comment = true},
    {.key = "broker_user",
     .option = "",
     .value_name = "",
     .member = &Settings::broker_user,
     .help = "Name at the broker. Without it, what TURNSTONE_BROKER_USER in the environment says; without both, none.",
     .example = R"("hill")",
     .example_is_comment = true},
    {.key = "broker_password",
     .option = "",
     .value_name = "",
     .member = &Settings::broker_password,
     .help = "Password at the broker, else that of TURNSTONE_BROKER_PASSWORD in the environment. If you set it, keep "
             "this file readable by its owner only. It has no option on the command line, which others could read.",
     .example = R"("...")",
     .example_is_comment = true},
    {.key = "live_out",
     .option = "--live-out",
     .value_name = "URI",
     .member = &Settings::live_out,
     .max = 16,
     .help = "Where decoded values go as they come: udp://ADDRESS:PORT or broker for all of them as JSON lines; "
             "udp://ADDRESS:PORT?position_of=VEHICLE for its position as NMEA 0183 sentences, to chart programs and "
             "antenna rotators.",
     .example = R"(["udp://127.0.0.1:10110?position_of=sanderling"])",
     .example_is_comment = true},
    {.key = "viewers_max",
     .option = "--viewers-max",
     .value_name = "COUNT",
     .member = &Settings::viewers_max,
     .min = 1,
     .max = 10000,
     .help = "Most viewers at once."},
};

/// Reads one member of a settings file, by the type of what it is read into.
struct MemberReader {
    JsonReader& in;
    const Setting& setting;
    const fs::path& folder;

    void into(bool& out) const { out = in.boolean_or(setting.key, out); }
    void into(std::int64_t& out) const { out = in.integer_or(setting.key, setting.min, setting.max, out); }
    void into(std::string& out) const {
        out = in.text_or(setting.key, out);
        if (!out.empty() && std::ssize(out) < setting.min) {
            in.problem_at(setting.key, "is shorter than " + std::to_string(setting.min) + " characters",
                          "make it longer, or leave it out");
        }
    }
    void into(fs::path& out) const {
        const fs::path path = in.has(setting.key) ? fs::path(in.text(setting.key)) : out;
        out = path.empty() ? path : folder / path;
    }
    template <class Element>
    void into(std::vector<Element>& out) const {
        std::vector<JsonReader> elements = in.array_if(setting.key, static_cast<std::size_t>(setting.max));
        if (!in.has(setting.key)) return;
        out.clear();
        for (JsonReader& element : elements) add(element, out);
    }

    void add(JsonReader& element, std::vector<std::string>& out) const { out.push_back(element.as_text()); }
    void add(JsonReader& element, std::vector<fs::path>& out) const { out.push_back(folder / element.as_text()); }
    void add(JsonReader& element, std::vector<LinkUri>& out) const {
        const std::string text = element.as_text();
        if (text.empty()) return;
        auto uri = parse_link_uri(text);
        const auto framing = uri ? framing_of(*uri) : Result<Framing>(fail(uri.error().message));
        if (framing)
            out.push_back(std::move(*uri));
        else
            element.problem(framing.error().message, "see \"turnstone serve --help\"");
    }
};

void read_setting(JsonReader& in, const Setting& setting, const fs::path& folder, Settings& settings) {
    in.ignore(setting.key);
    std::visit([&](auto member) { MemberReader{in, setting, folder}.into(settings.*member); }, setting.member);
}

/// By which the broker knows a link again: of this computer and this folder of recordings.
std::string client_name(const Settings& settings, const LinkUri& uri) {
    std::array<char, 256> host{};
    if (::gethostname(host.data(), host.size() - 1) != 0) host.front() = '\0';
    std::error_code error;
    const fs::path folder = fs::absolute(settings.recordings, error);
    std::array<char, 17> hash{};
    std::to_chars(hash.data(), hash.data() + 16, std::hash<std::string>{}(folder.string()), 16);
    return std::string("turnstone-") + host.data() + "-" + hash.data() + "-" + uri.name;
}

/// Gives the links that come from it their broker.
void complete_broker(Settings& settings, const std::string& where, std::vector<Problem>& problems) {
    const auto access = settings.broker.empty() ? Result<BrokerAccess>(BrokerAccess{}) : broker_of(settings);
    if (!access)
        problems.push_back({where, "/broker", access.error().message, "for instance mqtt://broker.example:1883"});
    if (!settings.publish_as.empty() && !is_topic_name(settings.publish_as))
        problems.push_back({where, "/publish_as", "\"" + settings.publish_as + "\" cannot be a station's name there",
                            "expected 1 to 32 of a-z, 0-9, _ and -"});
    if (!settings.publish_as.empty() && settings.broker.empty())
        problems.push_back({where, "/publish_as", "is set, but there is no broker", "set broker, or leave it out"});
    for (LinkUri& uri : settings.links) {
        auto* const source = std::get_if<BrokerSource>(&uri.source);
        if (source == nullptr) continue;
        if (settings.broker.empty())
            problems.push_back({where, "/links", uri.text + " needs a broker", "set broker: mqtt://HOST:PORT"});
        else if (access)
            source->access = *access;
        source->client = client_name(settings, uri);
    }
}

/// The JSON a settings file would hold. What does not fit stays text, for the reader to refuse.
nlohmann::json json_of(const Setting& setting, const std::string& text) {
    if (std::holds_alternative<bool Settings::*>(setting.member) && (text == "true" || text == "false"))
        return text == "true";
    if (std::holds_alternative<std::int64_t Settings::*>(setting.member)) {
        std::int64_t number = 0;
        const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
        if (error == std::errc{} && end == text.data() + text.size()) return number;
    }
    return text;
}

nlohmann::json json_of(const Setting& setting, const std::vector<std::string>& texts) {
    if (!setting.is_list()) return json_of(setting, texts.back());
    nlohmann::json out = nlohmann::json::array();
    for (const std::string& text : texts) out.push_back(text);
    return out;
}

} // namespace

Result<Framing> framing_of(const LinkUri& uri) {
    FramingOptions options = uri.framing;
    auto framing = take_framing(options);
    if (!framing) return fail("link \"" + uri.text + "\" " + framing.error().message);
    if (!options.empty())
        return fail("link \"" + uri.text + "\" has the unknown option " + options.front().first +
                    "; neither the link nor its framing takes it");
    return framing;
}

Result<BrokerAccess> broker_of(const Settings& settings) {
    auto access = parse_broker(settings.broker);
    if (!access) return access;
    const auto or_else = [](const std::string& set, const char* variable) {
        const char* const value = std::getenv(variable);
        return set.empty() && value != nullptr ? std::string(value) : set;
    };
    access->user = or_else(settings.broker_user, "TURNSTONE_BROKER_USER");
    access->password = or_else(settings.broker_password, "TURNSTONE_BROKER_PASSWORD");
    return access;
}

std::string Settings::bind_address() const {
    if (!listen_address.empty()) return listen_address;
    return share ? "0.0.0.0" : "127.0.0.1";
}

bool Settings::loopback_only() const {
    boost::system::error_code error;
    return boost::asio::ip::make_address(bind_address(), error).is_loopback();
}

bool Setting::is_list() const noexcept {
    return std::holds_alternative<std::vector<std::string> Settings::*>(member) ||
           std::holds_alternative<std::vector<fs::path> Settings::*>(member) ||
           std::holds_alternative<std::vector<LinkUri> Settings::*>(member);
}

std::span<const Setting> settings_table() noexcept {
    return kTable;
}

void read_settings(const nlohmann::json& json, const std::string& file, Settings& settings,
                   std::vector<Problem>& problems) {
    const fs::path folder = fs::path(file).parent_path();
    JsonReader in(json, file, problems);
    for (const Setting& setting : kTable) read_setting(in, setting, folder, settings);
    in.finish();
}

void read_settings_file(const fs::path& path, Settings& settings, std::vector<Problem>& problems) {
    if (const auto json = parse_json_file(path, problems, JsonComments::allowed))
        read_settings(*json, path.string(), settings, problems);
}

void read_options(const Options& options, Settings& settings, std::vector<Problem>& problems) {
    for (const Setting& setting : kTable) {
        const auto given = options.find(setting.option);
        if (given == options.end() || given->second.empty()) continue;
        const nlohmann::json json = {{std::string(setting.key), json_of(setting, given->second)}};
        std::vector<Problem> mistakes;
        JsonReader in(json, "command line", mistakes);
        read_setting(in, setting, "", settings);
        for (Problem& mistake : mistakes) {
            mistake.pointer = setting.option;
            problems.push_back(std::move(mistake));
        }
    }
}

void complete_settings(Settings& settings, const std::string& where, std::vector<Problem>& problems) {
    if (const auto named = name_links(settings.links); !named)
        problems.push_back({where, "/links", named.error().message, "for instance serial:/dev/ttyUSB0?name=radio"});
    complete_broker(settings, where, problems);
    const auto is_file = [](const LinkUri& uri) { return std::holds_alternative<FileSource>(uri.source); };
    for (const LinkUri& uri : settings.links)
        if (is_file(uri) && std::get<FileSource>(uri.source).pace_baud == 0 && settings.links.size() > 1)
            problems.push_back({where, "/links",
                                uri.text + " is read at full speed by its vehicle's own time, which no "
                                           "other link can keep up with",
                                "give it a pace, for instance ?pace=57600, or let it be the only link"});
    if (settings.exit_at_end && (settings.links.empty() || !std::ranges::all_of(settings.links, is_file)))
        problems.push_back({where, "/exit_at_end", "is set, but not every link is a file: others have no end",
                            "leave it out, or give file links only"});
    if (!settings.operator_key.empty() && !settings.operator_key_file.empty())
        problems.push_back({where, "/operator_key_file", "would keep another key than the one set by operator_key",
                            "leave one of the two out"});
    boost::system::error_code error;
    boost::asio::ip::make_address(settings.bind_address(), error);
    if (error) {
        problems.push_back({where, "/listen_address", "\"" + settings.listen_address + "\" is not a numeric address",
                            "expected an address of this machine, for instance 192.168.1.20, or 0.0.0.0 for all"});
    } else if (settings.share && settings.loopback_only()) {
        problems.push_back({where, "/share", "opens the server to the local network, but listen_address is loopback",
                            "leave one of the two out"});
    }
}

} // namespace turnstone
