/// A request's target, the header fields that are read by hand, and the bodies of operator requests.
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>

#include "server/debrief/flights/flight_id.hpp"
#include "server/serve/parse/desk_request.hpp"
#include "server/serve/parse/flights/flight_request.hpp"
#include "server/serve/parse/flights/job_request.hpp"
#include "server/serve/parse/header_fields.hpp"
#include "server/serve/parse/operator_request.hpp"
#include "server/serve/parse/query.hpp"

namespace {

/// A value, or a sentence that says why not.
template <class T>
void check_answered(const turnstone::Result<T>& result) {
    if (!result && result.error().message.empty()) std::abort();
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace turnstone;
    const std::string text(reinterpret_cast<const char*>(data), size);
    if (const auto target = parse_target(text)) {
        for (const auto& [name, value] : target->query) {
            const auto number = number_parameter(*target, name, -1e9, 1e9);
            if (number && (!*number || !(**number >= -1e9 && **number <= 1e9))) std::abort();
            const auto integer = integer_parameter(*target, name, 16, 8192);
            if (integer && (!*integer || **integer < 16 || **integer > 8192)) std::abort();
        }
        for (const std::string& segment : target->segments)
            for (const char c : segment)
                if (static_cast<unsigned char>(c) < 0x20) std::abort();
        if (!allow_parameters(*target, {}) == target->query.empty()) std::abort();
    } else {
        check_answered(target);
    }
    const std::string host = host_of(text);
    if (host.size() > text.size() || (!host.empty() && host != ascii_lower(host))) std::abort();
    (void)is_same_origin(text, "localhost:8321");
    if (is_websocket_key(text) && text.size() != 24) std::abort();
    (void)accepts_gzip(text);
    (void)names_tag(text, "\"tag\"");
    for (const std::string_view value : cookie_values(text, "turnstone_8321"))
        if (value.data() < text.data() || value.data() + value.size() > text.data() + text.size()) std::abort();
    check_answered(parse_key_request(text));
    check_answered(parse_recording_request(text));
    check_answered(parse_mark_request(text));
    check_answered(parse_keyed_request(text));
    check_answered(parse_change_request(text));
    check_answered(parse_flight_name_request(text));
    if (const auto shelved = parse_shelve_request(text); shelved && !(shelved->for_s >= 1 && shelved->for_s <= 3600))
        std::abort();
    if (const auto countdown = parse_countdown_request(text);
        countdown && ((countdown->left_s && !(*countdown->left_s >= 0)) ||
                      (!countdown->reason.empty() && countdown->step != CountdownStep::hold)))
        std::abort();
    check_answered(parse_meta_request(text));
    check_answered(parse_procedure_request(text));
    const auto step = parse_step_request(text);
    check_answered(step);
    if (step && step->deed == StepDeed::waive && step->note.empty()) std::abort();
    check_answered(parse_statement_request(text));
    check_answered(parse_entered_request(text));
    check_answered(parse_poll_request(text));
    check_answered(parse_answer_request(text));
    check_answered(parse_position_request(text));
    const auto flight = parse_flight_request(text);
    check_answered(flight);
    if (flight && !flight->name && !flight->notes && !flight->tags && !flight->configuration) std::abort();
    const auto bookmark = parse_bookmark_request(text);
    check_answered(bookmark);
    if (bookmark && bookmark->key.empty() && !bookmark->text) std::abort();
    check_answered(parse_archive_request(text));
    const auto job = parse_job_request(text);
    check_answered(job);
    if (job && (!job->members.is_object() || job->members.contains("job"))) std::abort();
    const auto id = debrief::parse_flight_id(text);
    check_answered(id);
    if (id && debrief::parse_flight_id(debrief::to_string(*id)).value() != *id) std::abort();
    return 0;
}
