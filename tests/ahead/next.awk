# next.awk - proto/record.proto and daemon/record/kind.c as the next release may have them: one kind
# more, and a field more in two kinds. Lines of other files pass as they are.
{ print }
/^message Note \{/ { print "  optional string mood = 60;  //: text 64"; seen++ }
/^message Coffee \{/ { print "  optional string shade = 60;  //: text 64"; seen++ }
/^    Purchase purchase = 55;/ { print "    Chalk chalk = 56;"; seen++ }
/^package knockbox;/ && FILENAME ~ /record\.proto$/ {
    print "message Chalk { //: what stands on the board by the door"
    print "  optional string said = 1;  //: * text 200"
    print "}"
    seen++
}
/^    SITE\(PURCHASE, / { print "    SITE(CHALK, chalk, ANY, ORDER_REST, NULL),"; seen++ }
END {
    want = FILENAME ~ /record\.proto$/ ? 4 : FILENAME ~ /kind\.c$/ ? 1 : seen
    if (seen != want) {
        print "next.awk: " FILENAME " is not as it was: " seen " of " want " places" > "/dev/stderr"
        exit 1
    }
}
