#include "server/serve/parse/desk_request.hpp"

#include <algorithm>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/serve/parse/flat_object.hpp"

namespace turnstone {
namespace {

using nlohmann::json;

constexpr std::size_t kInitialsBytesMax = 40;
constexpr double kEnteredMax = 1e12;

/// Reads the members of one body; the first mistake is kept.
class Body {
  public:
    Body(std::string_view body, std::initializer_list<std::string_view> names) : object_(object_with(body, names)) {
        if (!object_) wrong_ = object_.error();
    }
    std::string needed(const char* name, std::size_t bytes_max = kNameBytesMax) {
        return take(wrong_ ? Result<std::string>() : needed_text(*object_, name, bytes_max));
    }
    std::string by() {
        std::string initials = needed("by", kInitialsBytesMax);
        if (!wrong_ && std::ranges::all_of(initials, [](char c) { return c == ' '; }))
            wrong_ = Error{"member 'by' must be the initials of who says so"};
        return initials;
    }
    std::string note() {
        if (wrong_) return {};
        return take(text_member(*object_, "note", kNoteBytesMax)).value_or("");
    }
    bool flag(const char* name) {
        if (wrong_) return false;
        const auto found = object_->find(name);
        if (found != object_->end() && found->is_boolean()) return found->get<bool>();
        wrong_ = Error{fmt::format("member '{}' must be true or false", name)};
        return false;
    }
    double number(const char* name) {
        if (wrong_) return 0;
        const auto value = number_member(*object_, name, -kEnteredMax, kEnteredMax);
        if (!value) wrong_ = Error{fmt::format("member '{}' must be a number", name)};
        return value.value_or(0);
    }
    /// `null` and nothing are the same.
    std::string text_or_null(const char* name) {
        if (wrong_) return {};
        if (const auto found = object_->find(name); found != object_->end() && found->is_null()) return {};
        return take(text_member(*object_, name, kNameBytesMax)).value_or("");
    }
    template <class Enum>
    Enum word(std::optional<Enum> otherwise = {}) {
        if (wrong_ || (otherwise && !object_->contains("do"))) return otherwise.value_or(Enum{});
        const std::string given = needed("do");
        const auto known = from_word<Enum>(given);
        if (!known && !wrong_)
            wrong_ = Error{fmt::format("member 'do' must be one of {}", fmt::join(kWords<Enum>, ", "))};
        return known.value_or(Enum{});
    }
    void refuse(std::string why) {
        if (!wrong_) wrong_ = Error{std::move(why)};
    }
    template <class Request>
    Result<Request> result(Request request) {
        if (wrong_) return tl::unexpected(*wrong_);
        return request;
    }

  private:
    template <class Value>
    Value take(Result<Value> value) {
        if (value) return *std::move(value);
        if (!wrong_) wrong_ = value.error();
        return {};
    }

    Result<json> object_;
    std::optional<Error> wrong_;
};

} // namespace

Result<ProcedureCommand> parse_procedure_request(std::string_view body) {
    Body in(body, {"vehicle", "procedure", "do", "by"});
    ProcedureCommand out{.vehicle = in.needed("vehicle"),
                         .procedure = in.needed("procedure"),
                         .step = in.word<ProcedureStep>(),
                         .by = in.by()};
    return in.result(std::move(out));
}

Result<StepCommand> parse_step_request(std::string_view body) {
    Body in(body, {"vehicle", "step", "do", "by", "note"});
    StepCommand out{.vehicle = in.needed("vehicle"),
                    .step = in.needed("step"),
                    .deed = in.word<StepDeed>(),
                    .by = in.by(),
                    .note = in.note()};
    if (out.deed == StepDeed::waive && out.note.empty())
        in.refuse("member 'note' is missing: say why the step is waived");
    return in.result(std::move(out));
}

Result<CheckStatement> parse_statement_request(std::string_view body) {
    Body in(body, {"vehicle", "check", "holds", "by", "note"});
    CheckStatement out{.vehicle = in.needed("vehicle"),
                       .check = in.needed("check"),
                       .holds = in.flag("holds"),
                       .by = in.by(),
                       .note = in.note()};
    return in.result(std::move(out));
}

Result<Entered> parse_entered_request(std::string_view body) {
    Body in(body, {"vehicle", "name", "value", "by"});
    Entered out{
        .vehicle = in.text_or_null("vehicle"), .name = in.needed("name"), .value = in.number("value"), .by = in.by()};
    return in.result(std::move(out));
}

Result<PollQuestion> parse_poll_request(std::string_view body) {
    Body in(body, {"position", "do"});
    PollQuestion out{.position = in.needed("position")};
    if (in.needed("do") != "ask") in.refuse("member 'do' must be ask");
    return in.result(std::move(out));
}

Result<PollAnswer> parse_answer_request(std::string_view body) {
    Body in(body, {"position", "go", "by", "note"});
    PollAnswer out{.position = in.needed("position"), .go = in.flag("go"), .by = in.by(), .note = in.note()};
    return in.result(std::move(out));
}

Result<PositionRequest> parse_position_request(std::string_view body) {
    Body in(body, {"position", "do"});
    PositionRequest out{.position = in.needed("position"), .deed = in.word<PositionDeed>(PositionDeed::give)};
    return in.result(std::move(out));
}

} // namespace turnstone
