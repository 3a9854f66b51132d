package peers.validator;

import ca.uhn.fhir.validation.ResultSeverityEnum;
import ca.uhn.fhir.validation.SingleValidationMessage;
import com.fasterxml.jackson.annotation.JsonInclude;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/** One thing that the validator said: its message id, the element, the line in the file, its words. */
@JsonInclude(JsonInclude.Include.NON_NULL)
record Message(Severity severity, String id, String path, Integer line, String text) {

    enum Severity {
        ERROR,
        WARNING,
        INFORMATION
    }

    /** {@code 'Patient?identifier=…'}: a conditional reference, legal in a transaction (R4 http.html, 3.1.0.11.2). */
    private static final Pattern CONDITIONAL_REFERENCE = Pattern.compile("'[A-Z][A-Za-z]+\\?[^']+'");

    private static final Pattern UNKNOWN_SYSTEM =
            Pattern.compile("^CodeSystem is unknown and can't be validated: (\\S+) for ");

    static Message of(SingleValidationMessage said) {
        return new Message(
                severity(said),
                String.valueOf(said.getMessageId()),
                said.getLocationString(),
                said.getLocationLine(),
                said.getMessage());
    }

    static Message unreadable(Exception cause) {
        return new Message(Severity.ERROR, "unreadable", null, null, String.valueOf(cause.getMessage()));
    }

    /** The code system that could not be checked offline, or null when the message is about something else. */
    String uncheckedSystem() {
        Matcher found = UNKNOWN_SYSTEM.matcher(text);
        return found.find() ? found.group(1) : null;
    }

    /**
     * HL7's severity but for two messages: a urn: reference that no entry of the Bundle has fails the whole
     * transaction on a server, so it is an error; a conditional reference only looks odd, so it is a note.
     */
    private static Severity severity(SingleValidationMessage said) {
        String id = String.valueOf(said.getMessageId());
        if (id.equals("Bundle_BUNDLE_Not_Local")) {
            return Severity.ERROR;
        }
        if (id.equals("REFERENCE_REF_SUSPICIOUS") && CONDITIONAL_REFERENCE.matcher(said.getMessage()).find()) {
            return Severity.INFORMATION;
        }
        ResultSeverityEnum severity = said.getSeverity();
        return switch (severity) {
            case FATAL, ERROR -> Severity.ERROR;
            case WARNING -> Severity.WARNING;
            case INFORMATION -> Severity.INFORMATION;
        };
    }
}
