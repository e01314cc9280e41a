#pragma once
/// Bodies of requests about procedures, checks and the poll: the JSON of protocol/STREAM.md section 3. An unknown
/// member is a mistake, not ignored.
#include <optional>
#include <string>
#include <string_view>

#include "server/pipeline/action.hpp"
#include "shared/result.hpp"

namespace turnstone {

enum class PositionDeed : unsigned char {
    give,  ///< a link with a key
    forget ///< keys and cookies end
};
consteval auto words_of(PositionDeed) {
    return words<PositionDeed::forget>("give", "forget");
}
struct PositionRequest {
    std::string position;
    PositionDeed deed = PositionDeed::give;
};

[[nodiscard]] Result<ProcedureCommand> parse_procedure_request(std::string_view body);
[[nodiscard]] Result<StepCommand> parse_step_request(std::string_view body);
[[nodiscard]] Result<CheckStatement> parse_statement_request(std::string_view body);
[[nodiscard]] Result<Entered> parse_entered_request(std::string_view body);
[[nodiscard]] Result<PollQuestion> parse_poll_request(std::string_view body);
[[nodiscard]] Result<PollAnswer> parse_answer_request(std::string_view body);
[[nodiscard]] Result<PositionRequest> parse_position_request(std::string_view body);

} // namespace turnstone
